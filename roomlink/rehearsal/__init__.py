"""Proof and rehearsal: the real core on virtual time, held to the rules of the house by an independent model."""
