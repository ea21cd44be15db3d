"""Who has a zone when: clashes, zones that are large enough, and what is free instead. Reads only.

Times are half-open, so that a booking may begin at the very moment at which another's clear-down is over.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from roomlink import limits
from roomlink.core.bookings import Occurrence, OccurrenceKey, Span
from roomlink.core.diary_apply import overlapping
from roomlink.core.spec import Room, Spec
from roomlink.core.state import State

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Clash:
    """A date that cannot be: it wants ``zones`` that the occurrence ``other`` has (or another date of its own)."""

    wanted: Occurrence
    zones: tuple[str, ...]
    other: OccurrenceKey


class Places:
    """Takes dates of one booking in, one by one, and finds what each clashes with: others, or dates before it."""

    def __init__(self, state: State, booking: str, kept: Iterable[Occurrence] = ()) -> None:
        self._state = state
        self._booking = booking
        self._own: dict[str, list[Span]] = {}
        for occurrence in kept:
            self._keep(occurrence)

    def all_free(self, dates: Iterable[Occurrence]) -> bool:
        """Whether all of ``dates`` could be taken in; none is."""
        trial = Places(self._state, self._booking)
        trial._own = {zone: list(spans) for zone, spans in self._own.items()}
        return not any(trial.take(date) for date in dates)

    def take(self, date: Occurrence) -> list[Clash]:
        """What stands against ``date``; it is kept if nothing does."""
        found: dict[OccurrenceKey, list[str]] = {}
        for zone in date.zones if date.counts else ():
            for span in overlapping(self._state.busy.get(zone, ()), date.begins, date.over):
                if span.booking != self._booking:
                    found.setdefault((span.booking, span.key), []).append(zone)
            for span in overlapping(self._own.get(zone, ()), date.begins, date.over):
                found.setdefault((span.booking, span.key), []).append(zone)
        if not found:
            self._keep(date)
        return [Clash(date, tuple(zones), other) for other, zones in found.items()]

    def _keep(self, date: Occurrence) -> None:
        for zone in date.zones if date.counts else ():
            insort(self._own.setdefault(zone, []), Span(date.begins, date.over, self._booking, date.key))


def split(
    state: State, booking: str, dates: Sequence[Occurrence], kept: Iterable[Occurrence] = ()
) -> tuple[list[Occurrence], list[Clash]]:
    """The dates that are free, and the clashes of the others."""
    places = Places(state, booking, kept)
    free: list[Occurrence] = []
    clashes: list[Clash] = []
    for date in dates:
        found = places.take(date)
        if found:
            clashes += found
        else:
            free.append(date)
    return free, clashes


# Zones that are large enough


def rooms_for(spec: Spec, people: int) -> list[Room]:
    """The rooms that hold so many by their posted number: the smallest first, then those with fewest walls to set."""
    return [room for room in spec.rooms if room.posted >= people]


def in_zones(dates: Iterable[Occurrence], zones: tuple[str, ...]) -> list[Occurrence]:
    return [replace(date, zones=zones) for date in dates]


def choose(state: State, booking: str, dates: Sequence[Occurrence], people: int) -> tuple[str, ...] | None:
    """The first room for so many that is free at all dates; the first of all where none is; None: no room is posted."""
    rooms = rooms_for(state.spec, people)
    places = Places(state, booking)
    for room in rooms:
        if places.all_free(in_zones(dates, room.zones)):
            return room.zones
    return rooms[0].zones if rooms else None


# What is free instead


def alternatives(
    state: State, booking: str, dates: Sequence[Occurrence], people: int | None, now: float, kept: Sequence[Occurrence]
) -> list[Data]:
    """Up to three ways to have all ``dates``: in other zones that hold as many, then earlier or later.

    Each is told by its first date, in stamps; the other dates of a series move along. Of times that overlap only the
    nearest is told: a quarter of an hour more is no other way out.
    """
    if not dates:
        return []
    zones = dates[0].zones
    need = people or state.spec.posted.get(frozenset(zones))
    places = Places(state, booking, kept)
    found: list[tuple[Occurrence, str]] = []
    if need is not None:
        for room in rooms_for(state.spec, need):
            if set(room.zones) != set(zones) and places.all_free(in_zones(dates, room.zones)):
                found.append((replace(dates[0], zones=room.zones), "other zones"))
                break
    steps = int(limits.ALTERNATIVE_REACH_S // limits.ALTERNATIVE_STEP_S)
    for step in range(1, steps + 1):
        for why, by in (("later", step * limits.ALTERNATIVE_STEP_S), ("earlier", -step * limits.ALTERNATIVE_STEP_S)):
            # One by one, as mostly the first dates show already that it will not do.
            moved = (shifted(date, by) for date in dates)
            first = shifted(dates[0], by)
            told = any(why == of and first.start < one.end and one.start < first.end for one, of in found)
            if first.begins >= now and not told and places.all_free(moved):
                found.append((first, why))
        if len(found) >= limits.ALTERNATIVES_MAX:
            break
    return [
        {"why": why, "zones": list(first.zones), "start": first.start, "end": first.end}
        for first, why in found[: limits.ALTERNATIVES_MAX]
    ]


def shifted(date: Occurrence, by: float) -> Occurrence:
    return replace(date, start=date.start + by, end=date.end + by, begins=date.begins + by, over=date.over + by)


def between(
    state: State, start: float, end: float, zones: Iterable[str] | None = None, *, all_of_it: bool = False
) -> list[tuple[str, Occurrence]]:
    """(booking, occurrence) of all that touch ``[start, end)`` with set-up and clear-down, earliest first.

    In any of ``zones`` (None: all). Only what holds its zones; ``all_of_it`` looks at cancelled and transparent ones
    too, which costs a look at every date there is.
    """
    wanted = tuple(state.spec.zones) if zones is None else tuple(zones)
    if all_of_it:
        among = set(wanted)
        found = {
            key: one
            for key, one in ((k, state.occurrences[k]) for k in state.occurrences.live())
            if one.begins < end and one.over > start and (zones is None or not among.isdisjoint(one.zones))
        }
    else:
        keys = {
            (span.booking, span.key) for zone in wanted for span in overlapping(state.busy.get(zone, ()), start, end)
        }
        found = {key: state.occurrences[key] for key in keys}
    return [(key[0], one) for key, one in sorted(found.items(), key=lambda f: (f[1].start, f[0]))]
