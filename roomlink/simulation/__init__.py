"""The whole service by plain calls on a virtual clock: random evenings from a seed, held to the rules at each step."""
