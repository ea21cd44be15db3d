"""The end of a booking: its guests are told beforehand, and may have it longer where the zones are free.

Warnings are deadlines: nothing looks at the clock in between. What is done afterwards is in ``clearing``.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import diary, links
from roomlink.core.bookings import (
    BEFORE_THE_END,
    Occurrence,
    OccurrenceKey,
    OccurrencesDropped,
    OccurrencesSet,
    OneWish,
    PhaseSet,
)
from roomlink.core.commands import ChangeOccurrence
from roomlink.core.evening_records import Ending, EndingDropped, EndingSet, ProlongDate
from roomlink.core.events import Configured
from roomlink.core.instants import clock, rfc3339
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused, UnknownName

Data = dict[str, Any]


# Telling


def follow(draft: Draft) -> None:
    """After any command: each date that is on has an end of which its guests are told in time, and no other has."""
    changed: dict[OccurrenceKey, None] = {}
    for event in draft.events:
        if isinstance(event, PhaseSet):
            changed[event.booking, event.key] = None
        elif isinstance(event, OccurrencesSet):
            changed.update(dict.fromkeys((event.booking, one.key) for one in event.occurrences))
        elif isinstance(event, OccurrencesDropped):
            changed.update(dict.fromkeys((event.booking, key) for key in event.keys))
        elif isinstance(event, Configured):
            changed.update(dict.fromkeys(draft.in_use[zone] for zone in draft.in_use.live()))
            changed.update(dict.fromkeys(draft.endings.live()))
    for key in changed:
        _settle(draft, key)


def _settle(draft: Draft, key: OccurrenceKey) -> None:
    one, old, before = draft.occurrences.get(key), draft.endings.get(key), draft.spec.bookings.warn
    if before <= 0.0 or one is None or not one.acts or one.phase != "running":
        if old is not None:
            draft.emit(EndingDropped(*key))
        return
    warn = one.end - before
    # A newer configuration may tell guests earlier or later; those who were told are not told again.
    stale = old is not None and old.warn is not None and old.warn != warn
    if old is None or stale or (old.zones, old.end) != (one.zones, one.end):
        draft.emit(EndingSet(*key, Ending(one.zones, one.end, warn if warn > draft.now else None)))


def due(draft: Draft, booking: str, key: str) -> None:
    """It is time to tell the guests."""
    ending = draft.endings.get((booking, key))
    if ending is not None and ending.warn is not None and ending.warn <= draft.now:
        draft.emit(EndingSet(booking, key, replace(ending, warn=None)))


def told(state: State, zones: Iterable[str]) -> list[Data]:
    """The ends that people in ``zones`` are told of, with what they may have instead."""
    here = set(zones)
    found = []
    for key in state.endings.live():
        ending, one = state.endings[key], state.occurrences.get(key)
        if ending.warn is not None or one is None or here.isdisjoint(ending.zones):
            continue
        free = free_until(state, key, one)
        found.append(
            {
                "booking": key[0],
                "occurrence": key[1],
                "zones": list(ending.zones),
                "end": rfc3339(ending.end),
                "free_until": None if free is None else rfc3339(free),
                "offers": [
                    {"minutes": s / 60.0, "until": rfc3339(one.end + s)}
                    for s in state.spec.bookings.extend
                    if free is None or one.end + s <= free
                ],
            }
        )
    return found


# Having it longer


def free_until(state: State, key: OccurrenceKey, one: Occurrence) -> float | None:
    """Until when guests could stay: the next who has any of the zones comes after their clear-down. None: no end."""
    nexts = []
    for zone in one.zones:
        taken = state.busy.get(zone, ())
        place = bisect_left(taken, (one.over,))
        nexts += [span.begins for span in taken[place : place + 2] if (span.booking, span.key) != key][:1]
    return min(nexts) - (one.over - one.end) if nexts else None


def prolong(draft: Draft, command: ProlongDate) -> Data:
    """Let the guests of a date that is on stay longer, if nobody else has its zones then. Other dates stay."""
    booking = diary.find(draft, command.booking)
    one = draft.occurrences.get((command.booking, command.key))
    if one is None:
        raise UnknownName("occurrence", command.key, list(draft.dates.get(command.booking, ()))[:100])
    if command.controller is not None and links.own_zones(draft, command.controller).isdisjoint(one.zones):
        text = f"{command.controller} has none of {', '.join(one.zones)}, and speaks for its own zones only"
        raise Refused("out-of-reach", text, allowed=list(one.zones))
    if booking.status == "cancelled" or not one.acts or one.phase not in BEFORE_THE_END:
        text = f"that date is not on now: it is extended from {rfc3339(one.begins)} until {rfc3339(one.end)}"
        raise Refused("not-on", text, booking=command.booking)
    if not 60.0 <= command.seconds <= limits.PROLONG_S_MAX:
        most = limits.PROLONG_S_MAX / 60.0
        raise BadValue("minutes", f"a date is extended by 1 to {most:g} minutes", minimum=1, maximum=most)
    free = free_until(draft, (command.booking, command.key), one)
    if free is not None and one.end + command.seconds > free:
        at = clock(draft.spec.timezone, free)
        more = f": {int((free - one.end) // 60.0)} minutes more" if free >= one.end + 60.0 else ""
        text = f"{' and '.join(one.zones)} are free until {at} only{more}; somebody else has them after that"
        raise Refused("not-free", text, until=rfc3339(free))
    wish = OneWish(end=one.end + command.seconds)
    return diary.change_one(draft, ChangeOccurrence(command.by, command.booking, command.key, wish, ("*",)))
