"""Of the evening as it really goes: the end of bookings and of parties, paging, and what people say of walls.

Records, commands and events of ``endings``, ``closings``, ``paging`` and ``wall_marks``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class PagingSpec:
    """While it is active the levels ``ducks`` of ``zones`` (None: all) are lower by ``by``, in their own unit.

    ``control`` is the momentary (``zone.control``) that pages; None: an input does. After ``most`` seconds it is over.
    """

    ducks: tuple[str, ...]
    by: float
    most: float = 60.0
    zones: tuple[str, ...] | None = None
    control: str | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Ending:
    """A date of a booking that is on ends at ``end``; its guests are told at ``warn`` (None: they have been)."""

    zones: tuple[str, ...]
    end: float
    warn: float | None


@dataclass(frozen=True, slots=True)
class Closing:
    """A routine, ``due`` since a stamp or at one, will run in a zone in use ``at`` a stamp; ``why`` not before.

    People there are told at ``warn`` (None: they have been).
    """

    at: float
    due: float
    why: str
    warn: float | None


@dataclass(frozen=True, slots=True)
class Paging:
    """Somebody speaks since ``since``; ``until`` it is over at the latest."""

    since: float
    until: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class WallMark:
    """A wall is not to be moved, says ``by``."""

    why: str
    by: str
    since: float


# Events


@dataclass(frozen=True, slots=True)
class EndingSet:
    booking: str
    key: str
    now: Ending


@dataclass(frozen=True, slots=True)
class EndingDropped:
    """The date is over, or not on any more."""

    booking: str
    key: str


@dataclass(frozen=True, slots=True)
class ClosingSet:
    routine: str
    zone: str
    now: Closing


@dataclass(frozen=True, slots=True)
class ClosingEnded:
    routine: str
    zone: str
    why: str


@dataclass(frozen=True, slots=True)
class PresenceSet:
    """Somebody is in the zone since a stamp; None: nobody is, as far as is known."""

    zone: str
    since: float | None


@dataclass(frozen=True, slots=True)
class PagingStarted:
    paging: str
    now: Paging


@dataclass(frozen=True, slots=True)
class PagingEnded:
    paging: str
    why: str


@dataclass(frozen=True, slots=True)
class WallMarked:
    partition: str
    now: WallMark


@dataclass(frozen=True, slots=True)
class WallUnmarked:
    partition: str


@dataclass(frozen=True, slots=True)
class PassDoorSet:
    """The door in a wall is open or not; None: nobody knows. It joins nothing."""

    partition: str
    is_open: bool | None


# Commands


@dataclass(frozen=True, slots=True)
class ProlongDate:
    """The date of a booking that is on shall end so many ``seconds`` later; that date alone.

    ``controller``: it is said at a panel, which speaks for its own zones only.
    """

    by: Actor
    booking: str
    key: str
    seconds: float
    controller: str | None = None


@dataclass(frozen=True, slots=True)
class AnnounceRoutine:
    """A routine will be due at the stamp ``due``: people whom it would surprise are told."""

    by: Actor
    routine: str
    due: float


@dataclass(frozen=True, slots=True)
class KeepOn:
    """A routine that is put off or announced shall leave ``zones`` on for longer (None: wherever it is).

    ``controller``: it is said at a panel, which speaks for its own zones only.
    """

    by: Actor
    routine: str
    zones: tuple[str, ...] | None = None
    controller: str | None = None


@dataclass(frozen=True, slots=True)
class ReportPresence:
    """A sensor says whether somebody is in a zone. Lost, it says that nobody is: it then keeps nothing on."""

    by: Actor
    zone: str
    present: bool


@dataclass(frozen=True, slots=True)
class ReportPaging:
    """An input says that somebody pages, or no more."""

    by: Actor
    paging: str
    active: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class MarkWall:
    """Mark a wall "do not move"."""

    by: Actor
    partition: str
    why: str


@dataclass(frozen=True, slots=True)
class UnmarkWall:
    by: Actor
    partition: str


@dataclass(frozen=True, slots=True)
class ReportPassDoor:
    """The door in a wall is reported open or not; None: its contact cannot be read."""

    by: Actor
    partition: str
    is_open: bool | None


EveningCommand = (
    ProlongDate | AnnounceRoutine | KeepOn | ReportPresence | ReportPaging | MarkWall | UnmarkWall | ReportPassDoor
)
EveningEvent = (
    EndingSet
    | EndingDropped
    | ClosingSet
    | ClosingEnded
    | PresenceSet
    | PagingStarted
    | PagingEnded
    | WallMarked
    | WallUnmarked
    | PassDoorSet
)
EVENING_EVENTS: dict[str, type[Any]] = {
    "ending": EndingSet,
    "ending-dropped": EndingDropped,
    "closing": ClosingSet,
    "closing-ended": ClosingEnded,
    "presence": PresenceSet,
    "paging": PagingStarted,
    "paging-ended": PagingEnded,
    "wall-marked": WallMarked,
    "wall-unmarked": WallUnmarked,
    "pass-door": PassDoorSet,
}
EVENING_RECORDS: dict[type[Any], type[Any]] = {
    EndingSet: Ending,
    ClosingSet: Closing,
    PagingStarted: Paging,
    WallMarked: WallMark,
}


def paging_specs(data: Mapping[str, Any]) -> dict[str, PagingSpec]:
    """The section ``paging`` of a resolved configuration; an older one has none."""
    return {
        name: PagingSpec(
            tuple(raw["ducks"]),
            raw["by"],
            raw["most"],
            None if raw["zones"] is None else tuple(raw["zones"]),
            raw["control"],
            raw["name"],
        )
        for name, raw in data.get("paging", {}).items()
    }
