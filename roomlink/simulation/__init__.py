"""The whole service by plain calls on a virtual clock, from one seed: random evenings, held to the rules at each step."""
