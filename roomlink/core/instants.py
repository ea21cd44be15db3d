"""Stamps as people and programs read them."""

from __future__ import annotations

from datetime import UTC, datetime


def rfc3339(stamp: float) -> str:
    """A stamp as RFC 3339 in UTC, to the millisecond."""
    return datetime.fromtimestamp(stamp, UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"
