"""The state of a venue: what a fold of its journal gives, with the indexes that keep every change cheap.

``State`` is changed by ``apply`` alone. ``Draft`` lies over a state and takes ``apply`` too, so that a decision can see
what it has decided so far while the state beneath stays as it was.
"""

from __future__ import annotations

import heapq
from collections.abc import Hashable, Iterator
from typing import Any, TypeVar

from roomlink.core.access import Key, Person, Session
from roomlink.core.bookings import Booking, Occurrence, OccurrenceKey, Span, Tick, WallRequest
from roomlink.core.divisions import Division
from roomlink.core.evening_records import Closing, Ending, Paging, WallMark
from roomlink.core.events import Event
from roomlink.core.lead_records import Lead
from roomlink.core.lock_records import Lock
from roomlink.core.records import Alarm, Arming, Check, Control, Hold, Link, Mask, Override, Role, StoredScene, Wall
from roomlink.core.spec import EMPTY, Spec, Value
from roomlink.core.travel_events import OneWay

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")

ControlKey = tuple[str, str]
"""(zone, control)"""
LinkKey = tuple[str, str]
"""(controller, zone)"""
Deadline = tuple[str, ...]
"""What is due: ("control", zone, control), ("hold", hold), ("settle" | "pin" | "late", partition),
("booking" | "ending", booking, occurrence), ("closing", routine, zone),
("paging", paging), ("turn", partition),
("session", session), ("key", key), ("lock", lock), ("shelved" | "quiet", alarm)."""


class Table(dict[K, V]):
    """A dict read with ``get``; ``drop`` removes; ``live`` gives the names that it has now."""

    __slots__ = ()

    def drop(self, key: K) -> None:
        self.pop(key, None)

    def live(self) -> Iterator[K]:
        return iter(self)


class Overlay(Table[K, V]):
    """Changes over a table that stays as it is. A dropped key is kept as None, which no table holds as a value."""

    __slots__ = ("base",)

    def __init__(self, base: Table[K, V]) -> None:
        self.base = base

    def __missing__(self, key: K) -> V:
        return self.base[key]

    def get(self, key: K, default: Any = None) -> Any:
        try:
            found = self[key]
        except KeyError:
            return default
        return default if found is None else found

    def __contains__(self, key: object) -> bool:
        return self.get(key) is not None  # type: ignore[arg-type]  # any hashable may be asked for

    def drop(self, key: K) -> None:
        self[key] = None  # type: ignore[assignment]  # the mark of a dropped key

    def live(self) -> Iterator[K]:
        for key in self.base.live():
            if key in self:
                yield key
        for key in dict.keys(self):
            if key not in self.base and key in self:
                yield key


class Deadlines:
    """When the core wants to be woken, by what for. Setting and finding the first cost O(log n)."""

    __slots__ = ("_at", "_heap")

    def __init__(self) -> None:
        self._at: dict[Deadline, float] = {}
        self._heap: list[tuple[float, Deadline]] = []

    def set(self, key: Deadline, at: float | None) -> None:
        if at is None:
            self._at.pop(key, None)
        elif self._at.get(key) != at:
            self._at[key] = at
            heapq.heappush(self._heap, (at, key))
        # What was moved or taken away stays in the heap; a rebuild is paid for by the many changes before it.
        if len(self._heap) > 2 * len(self._at):
            self._heap = [(due, awaited) for awaited, due in self._at.items()]
            heapq.heapify(self._heap)

    def first(self) -> float | None:
        heap = self._heap
        while heap and self._at.get(heap[0][1]) != heap[0][0]:
            heapq.heappop(heap)
        return heap[0][0] if heap else None

    def due(self, now: float) -> list[Deadline]:
        """Everything due at ``now``, earliest first. Only the due top of the heap is looked at."""
        heap, look, found = self._heap, [0], set()
        while look:
            place = look.pop()
            if place < len(heap) and heap[place][0] <= now:
                at, key = heap[place]
                if self._at.get(key) == at:
                    found.add((at, key))
                look += (2 * place + 1, 2 * place + 2)
        return [key for _, key in sorted(found)]

    def standing(self) -> dict[Deadline, float]:
        """Everything that is awaited, by what for."""
        return dict(self._at)

    def copy(self) -> Deadlines:
        other = Deadlines()
        other._at = dict(self._at)
        other._heap = list(self._heap)
        return other


class _NoDeadlines(Deadlines):
    """A draft's: what it decides is woken for once it is part of the state."""

    def set(self, key: Deadline, at: float | None) -> None:
        return


_NO_DEADLINES = _NoDeadlines()
_TABLES = (
    "controls",
    "links",
    "linked",
    "linked_by",
    "hands",
    "holds",
    "held",
    "walls",
    "group_of",
    "roles",
    "leads",
    "absent",
    "locks",
    "alone",
    "alone_since",
    "divisions",
    "used",
    "overflows",
    "one_ways",
    "microphones",
    "scenes",
    "alarms",
    "overrides",
    "masks",
    "armed",
    "checks",
    "bookings",
    "forgotten_private",
    "booking_of_uid",
    "occurrences",
    "dates",
    "busy",
    "in_use",
    "wall_requests",
    "deferred",
    "ticks",
    "people",
    "sessions",
    "keys",
    "key_of",
    "told",
    "answers",
    "endings",
    "closings",
    "presences",
    "pagings",
    "wall_marks",
    "pass_doors",
)
_IS_TABLE = frozenset(_TABLES)


class State:
    """Everything that is so now. Read it freely; change it only through ``apply``."""

    spec: Spec
    digest: str
    controls: Table[ControlKey, Control]
    links: Table[LinkKey, Link]
    linked: Table[str, tuple[str, ...]]
    """Controller to its linked zones, in the order of linking."""
    linked_by: Table[str, tuple[str, ...]]
    """Zone to the controllers linked to it, in the order of linking."""
    hands: Table[tuple[str, str], float]
    """(controller, control) to the value last given by hand."""
    holds: Table[str, Hold]
    held: Table[ControlKey, tuple[str, ...]]
    """(zone, control) to the holds that stand on it."""
    walls: Table[str, Wall]
    group_of: Table[str, tuple[str, ...]]
    roles: Table[str, Role]
    leads: Table[tuple[str, ...], Lead]
    """Groups that somebody leads who was given the lead of them."""
    absent: Table[str, float]
    """Controllers that led when their panel was gone for too long, with the stamp; until it is there again."""
    locks: Table[str, Lock]
    """Locks that a person set, by name."""
    alone: Table[str, dict[str, Value]]
    """Zone to what it had when it last stood alone."""
    alone_since: Table[str, tuple[float | None, OccurrenceKey | None]]
    """Zone to when that was, and the date of a booking that had the zone then."""
    divisions: Table[str, Division]
    """Walls that do not join their zones though they are open."""
    used: Table[str, float]
    """Zone to when it was last used by hand."""
    overflows: Table[str, tuple[str, ...]]
    """The joins: zones that are one group on purpose."""
    one_ways: Table[str, OneWay]
    """The overflows that stand, which go one way."""
    microphones: Table[str, str]
    """Radio microphone to its zone, where that is not the configured one."""
    scenes: Table[str, StoredScene]
    alarms: Table[str, Alarm]
    overrides: Table[str, Override]
    """The overrides that stand."""
    masks: Table[ControlKey, Mask]
    armed: Table[str, Arming]
    """Binding to its commissioning record."""
    checks: Table[str, Check]
    """Commissioning item to what was found; items of things that are gone keep theirs."""
    bookings: Table[str, Booking]
    forgotten_private: Table[str, bool]
    """Bookings that were private when they were forgotten: they stay so in what was written before."""
    booking_of_uid: Table[str, str]
    occurrences: Table[OccurrenceKey, Occurrence]
    dates: Table[str, tuple[str, ...]]
    """Booking to the keys of its occurrences, in order."""
    busy: Table[str, tuple[Span, ...]]
    """Zone to the times that it is taken, sorted; they do not overlap."""
    in_use: Table[str, OccurrenceKey]
    """Zone to the occurrence that has it now, from set-up to clear-down."""
    wall_requests: Table[str, WallRequest]
    deferred: Table[str, tuple[str, ...]]
    """Routine to the zones in which it waits until they are free."""
    ticks: Table[tuple[str, str], Tick]
    """(partition, key of a move) to who says that it is made."""
    people: Table[str, Person]
    sessions: Table[str, Session]
    """Digest of what a browser holds to who is signed in there."""
    keys: Table[str, Key]
    key_of: Table[str, str]
    """Digest of a panel's key or a token to its name."""
    told: Table[str, tuple[int, tuple[tuple[int, int, str], ...]]]
    """Webhook to the position up to which it was told, and what failed: see ``events.Told``."""
    answers: Table[str, tuple[str, dict[str, Any]]]
    """Idempotency-Key to (digest of the request, its reply), oldest first."""
    endings: Table[OccurrenceKey, Ending]
    """Dates that are on, with their end."""
    closings: Table[tuple[str, str], Closing]
    """(routine, zone) where a routine waits for people to go."""
    presences: Table[str, float]
    """Zones in which somebody is, with since when."""
    pagings: Table[str, Paging]
    """The pagings that stand."""
    wall_marks: Table[str, WallMark]
    """Walls that are not to be moved."""
    pass_doors: Table[str, str]
    """Partition to whether the door in it is open or closed, where that is known."""
    deadlines: Deadlines

    __slots__ = ("deadlines", "digest", "spec", *_TABLES)

    def __init__(self) -> None:
        self.spec = EMPTY
        self.digest = ""
        self.deadlines = Deadlines()
        for name in _TABLES:
            setattr(self, name, Table())

    def copy(self) -> State:
        """An independent state; records are shared, as they never change."""
        other = State()
        other.spec, other.digest = self.spec, self.digest
        other.deadlines = self.deadlines.copy()
        for name in _TABLES:
            setattr(other, name, Table(getattr(self, name)))
        return other


class Draft(State):
    """What a decision has made of a state so far, and the events that say so."""

    __slots__ = ("beneath", "events", "now")

    def __init__(self, base: State, now: float) -> None:
        self.spec = base.spec
        self.digest = base.digest
        self.deadlines = _NO_DEADLINES
        self.beneath = base
        """The state before the command; nobody changes it while the draft is in use."""
        self.events: list[Event] = []
        self.now = now
        """The stamp of the command being decided."""

    def __getattr__(self, name: str) -> Any:
        # A table is overlaid when it is first looked at: most decisions look at a few of them.
        if name not in _IS_TABLE:
            raise AttributeError(name)
        overlay: Overlay[Any, Any] = Overlay(getattr(self.beneath, name))
        setattr(self, name, overlay)
        return overlay

    def emit(self, event: Event) -> None:
        """Decide ``event``: record it, and see its effect from now on."""
        # Imported late: apply works on states, and a draft is one that applies as it goes.
        from roomlink.core.apply import apply

        apply(self, event)
        self.events.append(event)
