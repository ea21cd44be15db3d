"""How the venue is remembered: an append-only journal of entries, and snapshots to start from."""
