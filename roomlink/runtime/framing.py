"""Text messages as they go over a live socket, framed once for all who get them (RFC 6455 §5.2)."""

from __future__ import annotations

from functools import lru_cache

FRAMED_MAX = 32
"""Framed messages that are kept for the next connection that sends the same; they are the newest."""
_TEXT = 0x81
"""The first octet of a whole text message."""


@lru_cache(maxsize=FRAMED_MAX)
def framed(messages: tuple[bytes, ...]) -> bytes:
    """Text messages from a server, framed as RFC 6455 §5.2 says, in one piece."""
    return b"".join(part for message in messages for part in (_head(len(message)), message))


def _head(length: int) -> bytes:
    if length < 126:
        return bytes((_TEXT, length))
    return bytes((_TEXT, 126)) + length.to_bytes(2) if length < 1 << 16 else bytes((_TEXT, 127)) + length.to_bytes(8)
