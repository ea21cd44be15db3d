"""The shell that runs the core: one writer, one clock, and those who are told."""
