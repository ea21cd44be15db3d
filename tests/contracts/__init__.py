"""One suite a port, to be run over every implementation of it."""
