"""Durations as people write them everywhere in a venue: ``300ms``, ``3s``, ``2min``, ``1h``."""

from __future__ import annotations

SECONDS_OF = {"ms": 0.001, "min": 60.0, "s": 1.0, "h": 3600.0}
"""Seconds of each unit."""

PATTERN = r"^[0-9]{1,9}(\.[0-9]{1,6})?(ms|s|min|h)$"
"""What ``seconds_of`` takes, for schemas."""


def seconds_of(text: str) -> float | None:
    """Seconds of a duration, 0 and up, or None if it is none; the caller holds it to its bounds.

    A bare number is none, because its unit could only be guessed.
    """
    unit = next((unit for unit in SECONDS_OF if text.endswith(unit)), "")
    whole, point, part = text.removesuffix(unit).partition(".")
    if not unit or not _digits(whole, 9) or (point and not _digits(part, 6)):
        return None
    # Rounded, so that 300ms is 0.3 and not 0.30000000000000004.
    return round(float(f"{whole}.{part or 0}") * SECONDS_OF[unit], 9)


def _digits(text: str, most: int) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= most
