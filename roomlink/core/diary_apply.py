"""How events of the diary change the state, and the index that tells in no time who has a zone when."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from roomlink.core.bookings import (
    BookingDropped,
    BookingSet,
    MoveTicked,
    Occurrence,
    OccurrencesDropped,
    OccurrencesSet,
    PhaseSet,
    RoutineDeferred,
    Span,
    TickDropped,
    WallRequested,
    WallRequestEnded,
)
from roomlink.core.state import State


def overlapping(taken: Sequence[Span], begins: float, over: float) -> Sequence[Span]:
    """The spans of one zone's index that share any time with ``[begins, over)``, earliest first.

    Spans of one zone never overlap, so that those sorted by their begin are sorted by their end as well.
    """
    end = start = bisect_left(taken, (over,))
    while start > 0 and taken[start - 1].over > begins:
        start -= 1
    return taken[start:end]


def _booking_set(state: State, event: BookingSet) -> None:
    state.bookings[event.booking] = event.now
    state.booking_of_uid[event.now.uid] = event.booking
    if event.booking in state.forgotten_private:
        state.forgotten_private.drop(event.booking)


def _booking_dropped(state: State, event: BookingDropped) -> None:
    booking = state.bookings.get(event.booking)
    if event.private or (booking is not None and booking.private):
        state.forgotten_private[event.booking] = True
    if booking is None:
        return
    _drop(state, event.booking, state.dates.get(event.booking, ()))
    state.bookings.drop(event.booking)
    if state.booking_of_uid.get(booking.uid) == event.booking:
        state.booking_of_uid.drop(booking.uid)


def _occurrences_set(state: State, event: OccurrencesSet) -> None:
    olds = [o for n in event.occurrences if (o := state.occurrences.get((event.booking, n.key))) is not None]
    _index(state, event.booking, olds, event.occurrences)
    for occurrence in event.occurrences:
        state.occurrences[event.booking, occurrence.key] = occurrence
        state.deadlines.set(("booking", event.booking, occurrence.key), occurrence.due)
    keys = {*state.dates.get(event.booking, ()), *(o.key for o in event.occurrences)}
    if keys:
        state.dates[event.booking] = tuple(sorted(keys))


def _occurrences_dropped(state: State, event: OccurrencesDropped) -> None:
    _drop(state, event.booking, event.keys)


def _drop(state: State, booking: str, keys: Iterable[str]) -> None:
    olds = [o for key in keys if (o := state.occurrences.get((booking, key))) is not None]
    _index(state, booking, olds, ())
    gone = {old.key for old in olds}
    for key in gone:
        state.occurrences.drop((booking, key))
        state.deadlines.set(("booking", booking, key), None)
    rest = tuple(key for key in state.dates.get(booking, ()) if key not in gone)
    if rest:
        state.dates[booking] = rest
    else:
        state.dates.drop(booking)


def _index(state: State, booking: str, olds: Iterable[Occurrence], news: Iterable[Occurrence]) -> None:
    """Put dates in the place of others in the zones' sorted indexes, and in what is in use."""
    gone: dict[str, set[Span]] = {}
    come: dict[str, set[Span]] = {}
    for occurrences, into in ((olds, gone), (news, come)):
        for o in occurrences:
            for zone in o.zones if o.counts else ():
                into.setdefault(zone, set()).add(Span(o.begins, o.over, booking, o.key))
    for zone in sorted({*gone, *come}):
        taken = list(state.busy.get(zone, ()))
        for span in gone.get(zone, set()) - come.get(zone, set()):
            del taken[bisect_left(taken, span)]
        for span in come.get(zone, set()) - gone.get(zone, set()):
            insort(taken, span)
        if taken:
            state.busy[zone] = tuple(taken)
        else:
            state.busy.drop(zone)
    for o in olds:
        if o.live:
            _free(state, (booking, o.key), o.zones)
    for o in news:
        if o.live:
            _use(state, (booking, o.key), o.zones)


def _use(state: State, by: tuple[str, str], zones: Iterable[str]) -> None:
    for zone in zones:
        state.in_use[zone] = by


def _free(state: State, by: tuple[str, str], zones: Iterable[str]) -> None:
    for zone in zones:
        if state.in_use.get(zone) == by:
            state.in_use.drop(zone)


def _phase_set(state: State, event: PhaseSet) -> None:
    key = (event.booking, event.key)
    old = state.occurrences.get(key)
    if old is None:
        return
    now = replace(old, phase=event.phase)
    state.occurrences[key] = now
    state.deadlines.set(("booking", *key), now.due)
    (_use if now.live else _free)(state, key, now.zones)


def _wall_requested(state: State, event: WallRequested) -> None:
    state.wall_requests[event.partition] = event.now
    state.deadlines.set(("turn", event.partition), event.now.late)


def _wall_request_ended(state: State, event: WallRequestEnded) -> None:
    state.wall_requests.drop(event.partition)
    state.deadlines.set(("turn", event.partition), None)


def _routine_deferred(state: State, event: RoutineDeferred) -> None:
    if event.zones:
        state.deferred[event.routine] = event.zones
    else:
        state.deferred.drop(event.routine)


def _move_ticked(state: State, event: MoveTicked) -> None:
    state.ticks[event.partition, event.key] = event.now


def _tick_dropped(state: State, event: TickDropped) -> None:
    state.ticks.drop((event.partition, event.key))


APPLY: dict[type[Any], Callable[[State, Any], None]] = {
    BookingSet: _booking_set,
    BookingDropped: _booking_dropped,
    OccurrencesSet: _occurrences_set,
    OccurrencesDropped: _occurrences_dropped,
    PhaseSet: _phase_set,
    WallRequested: _wall_requested,
    WallRequestEnded: _wall_request_ended,
    RoutineDeferred: _routine_deferred,
    MoveTicked: _move_ticked,
    TickDropped: _tick_dropped,
}
