"""Doubles and builders for tests and rehearsals: small venues as plain data, and a driver on virtual time."""
