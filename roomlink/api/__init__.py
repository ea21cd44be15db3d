"""The public faces: HTTP and sockets. Thin adapters; what happens is decided in the core."""
