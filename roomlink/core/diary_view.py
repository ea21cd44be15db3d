"""What people and programs see of the diary. What is private is told only as a time in zones: see ``discretion``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.core import discretion
from roomlink.core.bookings import Booking, Occurrence
from roomlink.core.clashes import Clash
from roomlink.core.instants import rfc3339
from roomlink.core.state import State

Data = dict[str, Any]


def title_of(state: State, booking: str, occurrence: Occurrence, *, may_see: bool = False) -> str:
    """The words for one date, where it is private those for everybody."""
    if discretion.hidden(state, booking, occurrence.private, may_see=may_see):
        return discretion.HIDDEN
    found = state.bookings.get(booking)
    return occurrence.title or (found.title if found is not None else booking)


def when(one: Occurrence) -> Data:
    """What everybody may know of one date. ``from`` and ``until`` are with set-up and clear-down."""
    return {
        "occurrence": one.key,
        "zones": list(one.zones),
        "start": rfc3339(one.start),
        "end": rfc3339(one.end),
        "from": rfc3339(one.begins),
        "until": rfc3339(one.over),
        "status": one.status,
    }


def occurrence(state: State, booking: str, one: Occurrence, *, may_see: bool = False) -> Data:
    """One date of a booking."""
    hides = discretion.hidden(state, booking, one.private, may_see=may_see)
    return {
        "booking": booking,
        **when(one),
        "title": title_of(state, booking, one, may_see=may_see),
        "private": one.private,
        "transparent": one.transparent,
        "attendance": None if hides else one.attendance,
        "scene": one.scene,
        "phase": one.phase,
        "changed": one.changed,
    }


def booking(state: State, name: str, *, may_see: bool = False) -> Data:
    """A booking and all its dates."""
    keys = state.dates.get(name, ())
    dates = [occurrence(state, name, state.occurrences[name, key], may_see=may_see) for key in keys]
    return {**summary(state, name, may_see=may_see), "occurrences": dates}


def summary(state: State, name: str, *, may_see: bool = False) -> Data:
    """A booking without its dates."""
    shown = state.bookings[name]
    if discretion.hidden(state, name, shown.private, may_see=may_see):
        shown = discretion.booking(shown)
    return {
        "booking": name,
        "uid": shown.uid,
        "etag": etag(shown),
        "title": shown.title,
        "organiser": shown.organiser,
        "private": shown.private,
        "zones": list(shown.zones),
        "start": rfc3339(shown.start),
        "end": rfc3339(shown.end),
        "set_up": shown.set_up / 60.0,
        "clear_down": shown.clear_down / 60.0,
        "attendance": shown.attendance,
        "scene": shown.scene,
        "status": shown.status,
        "transparent": shown.transparent,
        "rrule": shown.rrule,
        "rdates": list(shown.rdates),
        "exdates": list(shown.exdates),
        "expanded_until": None if shown.upto is None else rfc3339(shown.upto),
        "created": rfc3339(shown.created),
        "modified": rfc3339(shown.modified),
    }


def etag(booking: Booking) -> str:
    return str(booking.revision)


def clash(state: State, found: Clash) -> Data:
    """What stands in the way of one date, for a problem or a list of dates left out."""
    other = state.occurrences.get(found.other)
    data: Data = {
        "booking": found.other[0],
        "occurrence": found.other[1],
        "zones": list(found.zones),
        "wanted": {"start": rfc3339(found.wanted.start), "end": rfc3339(found.wanted.end)},
    }
    if other is not None:
        seen = occurrence(state, found.other[0], other)
        data |= {name: seen[name] for name in ("title", "start", "end", "from", "until")}
    return data


def in_use(state: State, zone: str, *, may_see: bool = False) -> Data | None:
    """The booking that has a zone now, in short; None where none has."""
    key = state.in_use.get(zone)
    one = state.occurrences.get(key) if key is not None else None
    if key is None or one is None:
        return None
    seen = occurrence(state, key[0], one, may_see=may_see)
    return {name: seen[name] for name in ("booking", "occurrence", "title", "private", "phase", "start", "end")}


def uses(state: State) -> Data:
    """Every zone that a booking has now."""
    return {zone: in_use(state, zone) for zone in state.in_use.live()}


def wall_request(state: State, partition: str) -> Data | None:
    """Where a wall shall be moved to by hand, by when; ``met`` once it stands there."""
    asked = state.wall_requests.get(partition)
    if asked is None:
        return None
    wall = state.walls.get(partition)
    return {
        "position": asked.position,
        "by": rfc3339(asked.by),
        "since": rfc3339(asked.since),
        "booking": asked.booking,
        "met": wall is not None and wall.position == asked.position,
    }


def wall_requests(state: State) -> Mapping[str, Data]:
    found = {name: wall_request(state, name) for name in state.wall_requests.live()}
    return {name: seen for name, seen in found.items() if seen is not None}
