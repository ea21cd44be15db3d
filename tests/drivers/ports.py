"""Free ports on the loopback interface, for peers that must be found again at the same place."""

from __future__ import annotations

import socket


def free(kind: socket.SocketKind) -> int:
    """A port that nobody has at this moment."""
    with socket.socket(socket.AF_INET, kind) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def free_tcp() -> int:
    return free(socket.SOCK_STREAM)


def free_udp() -> int:
    return free(socket.SOCK_DGRAM)
