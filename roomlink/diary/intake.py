"""Taking a calendar in: each of its events becomes, changes or cancels a booking, and a line of a report.

An event is the same booking for as long as its UID is the same. What a calendar does not say (a scene, the time to set
up) stays as it is here. Nothing of a file hinders the rest of it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from roomlink.core.apply import apply
from roomlink.core.bookings import Booking, Wish
from roomlink.core.commands import Actor, CancelBooking, ChangeBooking, ChangeOccurrence, Command, CreateBooking
from roomlink.core.decide import decide
from roomlink.core.diary import dates_of
from roomlink.core.discretion import HIDDEN
from roomlink.core.state import State
from roomlink.diary import wishes
from roomlink.diary.ical_read import CalendarEvent, CalendarFile
from roomlink.diary.reports import Line, Report, report
from roomlink.diary.rooms import Rooms
from roomlink.errors import CallerFault

ANY = ("*",)
IMPORT = "import"
"""The source of what a person sent in."""


class Desk(Protocol):
    """Where commands are carried out. ``Trial`` is one that changes nothing."""

    @property
    def state(self) -> State: ...

    @property
    def now(self) -> float: ...

    async def carry_out(self, command: Command) -> Mapping[str, Any]:
        """The reply. Raises ``CallerFault``."""
        ...


class Trial:
    """A copy of a state, on which everything can be tried."""

    def __init__(self, state: State, now: float) -> None:
        self.state = state.copy()
        self.now = now

    async def carry_out(self, command: Command) -> Mapping[str, Any]:
        decision = decide(self.state, command, self.now)
        for event in decision.events:
            apply(self.state, event)
        return decision.reply


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms a calendar is taken in.

    ``source`` names it in the bookings; ``zones`` are those of events without a place; ``accept_free`` leaves dates
    that are taken out of a series instead of refusing all of it. ``upto`` is the stamp up to which dates were read.
    """

    by: Actor
    source: str
    upto: float
    zones: tuple[str, ...] = ()
    accept_free: bool = False


async def take_in(file: CalendarFile, desk: Desk, terms: Terms) -> Report:
    """Take in a file. What clashes is tried once more at the end, when the rest of the file may have made room."""
    rooms = Rooms(desk.state.spec)
    lines: list[Line] = []
    # What is off frees zones for what is new.
    waiting = sorted(file.events, key=lambda event: event.status != "CANCELLED")
    before = len(waiting) + 1
    while waiting and len(waiting) < before:
        before = len(waiting)
        lines = [line for line in lines if line.outcome != "refused" or not line.clashes]
        clashing = []
        for event in waiting:
            line = await _take(event, desk, terms, rooms)
            lines.append(line)
            if line.outcome == "refused" and line.clashes:
                clashing.append(event)
        waiting = clashing
    return report(file, lines)


async def cancel_gone(file: CalendarFile, desk: Desk, terms: Terms) -> list[Line]:
    """Cancel what was taken from this source before, is not over, and is no longer in its ``file``."""
    there = {event.uid for event in file.events} | {finding.uid for finding in file.findings}
    lines = []
    for name in list(desk.state.bookings.live()):
        booking = desk.state.bookings[name]
        if booking.source != terms.source or booking.uid in there or booking.status == "cancelled":
            continue
        if any(one.phase != "over" for one in dates_of(desk.state, name)):
            await desk.carry_out(CancelBooking(terms.by, name, ANY))
            why = "it is no longer in the calendar"
            lines.append(Line(0, booking.uid, _title(booking.title, booking.private), "cancelled", why, booking=name))
    return lines


def _title(summary: str, private: bool) -> str:
    return HIDDEN if private else summary


async def _take(event: CalendarEvent, desk: Desk, terms: Terms, rooms: Rooms) -> Line:
    name = desk.state.booking_of_uid.get(event.uid) or ""
    line = Line(event.line, event.uid, _title(event.summary, event.private), "refused", booking=name)
    try:
        return await _decided(event, line, desk, terms, rooms)
    except CallerFault as fault:
        return replace(line, why=fault.detail, clashes=tuple(fault.members.get("clashes", ())))


async def _decided(event: CalendarEvent, line: Line, desk: Desk, terms: Terms, rooms: Rooms) -> Line:
    booking = desk.state.bookings.get(line.booking) if line.booking else None
    if booking is not None:
        if not may_change(booking, terms):
            why = (
                f"it was taken from {booking.source}" if booking.source else "it was booked here, not by this calendar"
            )
            return replace(line, outcome="ignored", why=why)
        known = booking.revision if booking.sequence is None else booking.sequence
        if event.sequence < known:
            why = f"SEQUENCE {event.sequence} is older than the {known} that is here"
            return replace(line, outcome="ignored", why=why)
    if not event.whole:
        return await _single_dates(event, line, desk, terms, rooms)
    if event.status == "CANCELLED":
        return await _off(line, booking, desk, terms, "it is cancelled")
    zones, unknown = rooms.zones(event.places)
    zones = zones or (terms.zones if not event.places else ())
    if not zones:
        said = " and ".join(repr(place) for place in unknown)
        why = f"{said} is no room of this venue" if said else "it says no place"
        return await _off(line, booking, desk, terms, why)
    dates = {one.key: one for one in dates_of(desk.state, line.booking)}
    wish, note = wishes.plan(
        event,
        zones,
        wishes.Here(booking, dates),
        rooms,
        timezone=desk.state.spec.timezone,
        now=desk.now,
        upto=terms.upto,
        source=terms.source,
    )
    if not wish.starts:
        return await _off(line, booking, desk, terms, "every date of it is cancelled or over")
    if wishes.is_over(event, desk.now) and all(one.phase == "over" for one in dates.values()):
        outcome = "ignored" if booking is None else "unchanged"
        return replace(line, outcome=outcome, why="all of it is over")
    return await _put(wish, note, line, desk, terms)


def may_change(booking: Booking, terms: Terms) -> bool:
    """A person who sends a calendar may change everything, a feed only what came from it."""
    return terms.source in (IMPORT, booking.source)


async def _off(line: Line, booking: Booking | None, desk: Desk, terms: Terms, why: str) -> Line:
    """Not to be held here (any more)."""
    if booking is None:
        return replace(line, outcome="ignored", why=why)
    if booking.status == "cancelled":
        return replace(line, outcome="unchanged", why=why)
    if all(one.phase == "over" for one in dates_of(desk.state, line.booking)):
        return replace(line, outcome="unchanged", why="all of it is over")
    await desk.carry_out(CancelBooking(terms.by, line.booking, ANY))
    return replace(line, outcome="cancelled", why=why)


async def _put(wish: Wish, note: str, line: Line, desk: Desk, terms: Terms) -> Line:
    """Book or change."""
    booking = desk.state.bookings.get(line.booking) if line.booking else None
    if booking is None:
        # Made of the UID, so that the same event sent twice at once is one booking.
        line = replace(line, booking=f"ical-{hashlib.sha256(line.uid.encode()).hexdigest()[:16]}")
        reply = await desk.carry_out(CreateBooking(terms.by, line.booking, wish, terms.accept_free))
    else:
        reply = await desk.carry_out(ChangeBooking(terms.by, line.booking, wish, ANY, terms.accept_free))
    left_out = tuple(reply["refused"])
    notes = [note, *reply["warnings"]]
    if left_out:
        notes.append(f"{len(left_out)} of its dates are taken by others and were left out")
    now = desk.state.bookings[line.booking].revision
    outcome = "taken" if booking is None else "unchanged" if now == booking.revision else "changed"
    return replace(line, outcome=outcome, why="; ".join(filter(None, notes)), clashes=left_out)


async def _single_dates(event: CalendarEvent, line: Line, desk: Desk, terms: Terms, rooms: Rooms) -> Line:
    """Single dates, sent without the series that they are part of."""
    name = line.booking
    if not name:
        return replace(line, outcome="ignored", why="the event that it is a date of was never taken here")
    before = desk.state.bookings[name].revision
    for change in event.changes:
        one = desk.state.occurrences.get((name, change.key))
        if one is None:
            if change.status == "CANCELLED":
                continue
            why = f"the booking has no date {change.key}; send the event whole"
            return replace(line, why=why)
        zones, unknown = rooms.zones(change.places)
        if change.places and not zones and change.status != "CANCELLED":
            return replace(line, why=f"{' and '.join(map(repr, unknown))} is no room of this venue")
        wish = wishes.of_change(change, zones or one.zones, desk.state.bookings[name].title)
        if not wishes.met(one, wish):
            await desk.carry_out(ChangeOccurrence(terms.by, name, change.key, wish, ANY))
    changed = desk.state.bookings[name].revision != before
    return replace(line, outcome="changed" if changed else "unchanged")
