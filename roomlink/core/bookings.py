"""Bookings as records and events. Times are instants; whatever recurs was expanded before it came here.

A ``Booking`` says what it is about, its ``Occurrence`` records say when: one for a single booking, one for each date of
a recurring one. An occurrence is whole in itself, so that one that was changed needs no second look at its booking.
The commands are in ``core/commands.py``, what they decide in ``core/diary.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

STATUSES = ("confirmed", "tentative", "cancelled")
PHASES = ("waiting", "set-up", "running", "clear-down", "over")
"""What an occurrence goes through. From set-up to clear-down its zones are in use."""
LIVE = PHASES[1:4]
BEFORE_THE_END = PHASES[1:3]
"""The phases in which the zones are linked and walls asked for."""

OccurrenceKey = tuple[str, str]
"""(booking, key of the occurrence)"""


def key_of(start: float) -> str:
    """The key of the occurrence that starts at the stamp ``start``: RFC 5545's form in UTC, 20260501T194200Z."""
    return datetime.fromtimestamp(start, UTC).strftime("%Y%m%dT%H%M%SZ")


def start_of(key: str) -> float:
    """The stamp that a key stands for. Raises ValueError for anything that is no key."""
    return datetime.strptime(key, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC).timestamp()


@dataclass(frozen=True, slots=True)
class Booking:
    """What a booking says of itself. ``set_up`` and ``clear_down`` in seconds; ``start`` and ``end`` of the first date.

    ``rrule`` is an RFC 5545 rule as it was given; ``rdates`` and ``exdates`` are keys of dates added and left out.
    The rule is expanded up to the stamp ``upto``; None: all dates that there will ever be are there.
    ``revision`` counts the changes; it is the entity tag, and the SEQUENCE of a calendar. ``source`` names the calendar
    that it was taken from, empty for what was booked here, and ``sequence`` is the SEQUENCE that it had there.
    """

    uid: str
    title: str
    zones: tuple[str, ...]
    start: float
    end: float
    set_up: float = 0.0
    clear_down: float = 0.0
    attendance: int | None = None
    scene: str | None = None
    status: str = "confirmed"
    transparent: bool = False
    private: bool = False
    organiser: str = ""
    rrule: str | None = None
    rdates: tuple[str, ...] = ()
    exdates: tuple[str, ...] = ()
    upto: float | None = None
    revision: int = 1
    created: float = 0.0
    modified: float = 0.0
    source: str = ""
    sequence: int | None = None

    @property
    def recurs(self) -> bool:
        return self.rrule is not None or bool(self.rdates)


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One date of a booking: ``[start, end)`` for the guests, ``[begins, over)`` with set-up and clear-down.

    ``key`` is the start that the rule gives it, and stays when it is moved. ``title``, empty, is the booking's.
    ``changed``: it was changed by itself, and a change of the whole booking leaves it alone.
    """

    key: str
    start: float
    end: float
    begins: float
    over: float
    zones: tuple[str, ...]
    attendance: int | None = None
    scene: str | None = None
    status: str = "confirmed"
    transparent: bool = False
    private: bool = False
    title: str = ""
    changed: bool = False
    phase: str = "waiting"

    @property
    def counts(self) -> bool:
        """Whether it holds its zones against others. Transparent and cancelled ones do not."""
        return self.status != "cancelled" and not self.transparent

    @property
    def acts(self) -> bool:
        """Whether anything happens at its time. A tentative one only holds its zones."""
        return self.status == "confirmed" and not self.transparent

    @property
    def live(self) -> bool:
        return self.phase in LIVE

    @property
    def due(self) -> float | None:
        """The stamp of its next phase; None where nothing more will happen."""
        if not self.acts or self.phase == "over":
            return None
        return {"waiting": self.begins, "set-up": self.start, "running": self.end, "clear-down": self.over}[self.phase]

    def phase_at(self, now: float) -> str:
        """The phase that it should be in at ``now``."""
        if now < self.begins:
            return "waiting"
        if now < self.start:
            return "set-up"
        if now < self.end:
            return "running"
        return "clear-down" if now < self.over else "over"


@dataclass(frozen=True, slots=True)
class Wish:
    """What a booking shall be, as ``CreateBooking`` and ``ChangeBooking`` carry it: everything resolved to instants.

    ``starts`` are the stamps at which it recurs up to ``upto``, the first included (empty: only ``start``); each date
    lasts as long as the first. Without ``zones``, ``capacity`` people need to fit: the zones are chosen. ``set_up`` and
    ``clear_down`` in seconds; None takes the venue's.
    """

    uid: str
    title: str
    start: float
    end: float
    zones: tuple[str, ...] = ()
    capacity: int | None = None
    set_up: float | None = None
    clear_down: float | None = None
    attendance: int | None = None
    scene: str | None = None
    status: str = "confirmed"
    transparent: bool = False
    private: bool = False
    organiser: str = ""
    rrule: str | None = None
    rdates: tuple[str, ...] = ()
    exdates: tuple[str, ...] = ()
    starts: tuple[float, ...] = ()
    upto: float | None = None
    ones: tuple[tuple[str, OneWish], ...] | None = None
    """Dates that differ, by key: they take the place of all that were changed before. None leaves those as they are."""
    source: str = ""
    sequence: int | None = None
    """Where it was taken from, and its SEQUENCE there: see ``Booking``."""


@dataclass(frozen=True, slots=True)
class OneWish:
    """What one date of a booking shall be; None leaves a member as it is. ``back``: as its series has it again."""

    start: float | None = None
    end: float | None = None
    zones: tuple[str, ...] | None = None
    attendance: int | None = None
    scene: str | None = None
    status: str | None = None
    title: str | None = None
    back: bool = False


class Span(NamedTuple):
    """A time for which a zone is taken: an entry of a zone's sorted index."""

    begins: float
    over: float
    booking: str
    key: str


@dataclass(frozen=True, slots=True)
class WallRequest:
    """Someone shall move a wall to ``position`` for an occurrence that starts at ``by``. Only people move it.

    ``late`` is when that becomes an alarm; None once that was looked at.
    """

    position: str
    booking: str
    key: str
    since: float
    by: float
    late: float | None = None


@dataclass(frozen=True, slots=True)
class Tick:
    """``who`` says that a move is made: the wall stands ``to``, as it was asked for by the stamp ``by``."""

    to: str
    by: float
    who: str
    at: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class BookingSet:
    """A booking exists or changed. Its dates are told by ``OccurrencesSet``."""

    booking: str
    now: Booking


@dataclass(frozen=True, slots=True)
class BookingDropped:
    """A booking that has long been over is forgotten, with all its dates; that it was ``private`` is not."""

    booking: str
    private: bool = False


@dataclass(frozen=True, slots=True)
class OccurrencesSet:
    """These dates of a booking are so from now on; its other dates stay."""

    booking: str
    occurrences: tuple[Occurrence, ...]


@dataclass(frozen=True, slots=True)
class OccurrencesDropped:
    """A booking no longer has these dates."""

    booking: str
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PhaseSet:
    """An occurrence is in this phase now, in ``zones``."""

    booking: str
    key: str
    phase: str
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WallRequested:
    partition: str
    now: WallRequest


@dataclass(frozen=True, slots=True)
class WallRequestEnded:
    partition: str


@dataclass(frozen=True, slots=True)
class RoutineDeferred:
    """A routine waits until these zones are free; no zones: it waits for none any more."""

    routine: str
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MoveTicked:
    """A move of a wall is ticked off; ``key`` is that of the move."""

    partition: str
    key: str
    now: Tick


@dataclass(frozen=True, slots=True)
class TickDropped:
    """A tick counts no more: it was taken back, its move is another now, or it is long over."""

    partition: str
    key: str


BookingEvent = (
    BookingSet
    | BookingDropped
    | OccurrencesSet
    | OccurrencesDropped
    | PhaseSet
    | WallRequested
    | WallRequestEnded
    | RoutineDeferred
    | MoveTicked
    | TickDropped
)
BOOKING_EVENTS: dict[str, type[Any]] = {
    "booking": BookingSet,
    "booking-dropped": BookingDropped,
    "occurrences": OccurrencesSet,
    "occurrences-dropped": OccurrencesDropped,
    "phase": PhaseSet,
    "wall-request": WallRequested,
    "wall-request-ended": WallRequestEnded,
    "routine-deferred": RoutineDeferred,
    "move-ticked": MoveTicked,
    "tick-dropped": TickDropped,
}
BOOKING_RECORDS: dict[type[Any], type[Any]] = {
    BookingSet: Booking,
    WallRequested: WallRequest,
    MoveTicked: Tick,
}
