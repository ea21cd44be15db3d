"""One venue on several machines: who writes, how the others follow, how their commands reach the writer."""
