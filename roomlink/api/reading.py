"""Reading what callers write into URLs and headers: whole numbers, times, flags. All raise ``BadValue``."""

from __future__ import annotations

from datetime import UTC, datetime

from roomlink.errors import BadValue

SEQ_MAX = 2**53
"""Positions beyond this are not whole in every program that reads JSON."""


def whole(field: str, text: str, least: int, most: int) -> int:
    """A whole number from ``least`` to ``most``."""
    # The length is looked at first: reading very long numbers is refused by Python itself.
    if not text.isdecimal() or len(text) > len(str(most)) or not least <= int(text) <= most:
        raise BadValue(
            field, f"{text[:40]!r} is not a whole number from {least} to {most}", minimum=least, maximum=most
        )
    return int(text)


def position(field: str, text: str) -> int:
    """A journal position."""
    return whole(field, text, 0, SEQ_MAX)


def instant(field: str, text: str) -> float:
    """An RFC 3339 time as a stamp."""
    try:
        # A "+" of an offset that was not escaped in a URL arrives as a space.
        when = datetime.fromisoformat(text.strip().replace(" ", "+"))
        if when.tzinfo is not None:
            return when.astimezone(UTC).timestamp()
    except (ValueError, OverflowError):
        raise BadValue(field, f"{text!r} is no RFC 3339 time such as 2026-05-01T19:42:00Z") from None
    raise BadValue(field, f"{text!r} has no offset: write Z or such as -03:00 after it")


def flag(field: str, text: str) -> bool:
    """true or false."""
    if text.lower() not in ("true", "false"):
        raise BadValue(field, f"{text!r} is neither true nor false", allowed=["true", "false"])
    return text.lower() == "true"


def entity_tags(header: str | None) -> tuple[str, ...] | None:
    """The tags of an If-Match. Weak ones are left out: the comparison is the strong one (RFC 9110 §13.1.1)."""
    if header is None:
        return None
    tags = [tag.strip() for tag in header.split(",")]
    return tuple(tag.strip('"') for tag in tags if tag == "*" or tag.startswith('"'))
