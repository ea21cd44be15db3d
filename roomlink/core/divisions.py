"""Open walls that are kept as a division, named arrangements of walls, and when a zone was last used by hand: data.

Events carry whole records, like all others. What is decided about them is in ``core/asking.py``, ``core/fences.py``,
``core/arrangements.py`` and ``core/reference.py``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

ASKED = "ask"
"""People are asked whether to combine. No answer changes nothing."""
BY_HAND = "hand"
"""The wall never combines by itself; a person may combine it."""
APART = "apart"
"""A person keeps it as a division on purpose."""
FENCE = "fence"
"""It opened between two live bookings: a technician decides."""
REASONS = (ASKED, BY_HAND, APART, FENCE)


@dataclass(frozen=True, slots=True)
class Division:
    """Why an open wall does not join its zones: one of ``REASONS``, since the stamp ``since``, said by ``by``."""

    why: str
    since: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class ArrangementSpec:
    """Positions of walls under one name. ``pin``: how many seconds they are stated for, if nobody asks otherwise."""

    name: str = ""
    walls: Mapping[str, str] = field(default_factory=dict)
    pin: float = 0.0


@dataclass(frozen=True, slots=True)
class DivisionSet:
    """The wall, though open, is kept as a division."""

    partition: str
    now: Division


@dataclass(frozen=True, slots=True)
class DivisionEnded:
    """The wall is no longer kept as a division: open, it joins its zones."""

    partition: str
    why: str


@dataclass(frozen=True, slots=True)
class UsedByHand:
    """A person, or somebody on their behalf, did something in these zones at the stamp ``at``."""

    zones: tuple[str, ...]
    at: float


DivisionEvent = DivisionSet | DivisionEnded | UsedByHand
DIVISION_EVENTS: dict[str, type[Any]] = {
    "division": DivisionSet,
    "division-ended": DivisionEnded,
    "used": UsedByHand,
}
DIVISION_RECORDS: dict[type[Any], type[Any]] = {DivisionSet: Division}
