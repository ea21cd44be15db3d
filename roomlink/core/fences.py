"""Bookings fence: a wall that opens between two live bookings combines nothing until a technician decides.

A fence is a division with an alarm. It is looked for when a wall opens, not when a booking begins: people who open a
wall beforehand have combined the zones.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from roomlink.core import alarms
from roomlink.core.bookings import OccurrenceKey, OccurrencesDropped, OccurrencesSet, PhaseSet
from roomlink.core.divisions import ASKED, FENCE, Division, DivisionSet
from roomlink.core.events import Regrouped
from roomlink.core.groups import components, ties
from roomlink.core.state import Draft, State

_ENDS = (PhaseSet, OccurrencesSet, OccurrencesDropped, Regrouped)
"""What may end a booking's hold on its zones, or part a side of a wall from them."""


def alarm_of(partition: str) -> str:
    return f"fence/{partition}"


def fence(draft: Draft, opened: Iterable[str]) -> None:
    """Fence those of the walls that open now which would bring live bookings together that have been apart.

    They are looked at in venue order, each beside those before it: two walls on either side of an idle zone fence the
    second, not both.
    """
    if next(draft.in_use.live(), None) is None:
        return
    waiting = dict.fromkeys(opened)
    for wall in list(waiting):
        apart = keeps_apart(draft, wall, waiting)
        del waiting[wall]
        if apart:
            draft.emit(DivisionSet(wall, Division(FENCE, draft.now)))
            alarms.raise_alarm(
                draft,
                alarm_of(wall),
                f"{draft.spec.partitions[wall].name or wall} opened between two bookings: nothing is combined; "
                "close it, or decide whether they are one",
            )


def keeps_apart(state: State, wall: str, without: Collection[str]) -> bool:
    """Whether two different live bookings lie on the sides of a wall, those ``without`` left aside."""
    a, b = state.spec.partitions[wall].between
    beside = ties(state, without)
    left = _side(state, a, beside)
    return bool(left) and b not in left and _apart(_live(state, left), _live(state, _side(state, b, beside)))


def _side(state: State, zone: str, beside: Callable[[str], Iterable[str]]) -> list[str]:
    return next(iter(components((zone,), beside)))


def _live(state: State, zones: Iterable[str]) -> set[OccurrenceKey]:
    return {state.in_use[zone] for zone in zones if zone in state.in_use}


def _apart(left: set[OccurrenceKey], right: set[OccurrenceKey]) -> bool:
    """Bookings that share one already have been let together."""
    return bool(left) and bool(right) and left.isdisjoint(right)


def follow(draft: Draft) -> None:
    """After any command: where no booking is on one side any more, a fence becomes a question to people."""
    if next(draft.divisions.live(), None) is None or not any(isinstance(event, _ENDS) for event in draft.events):
        return
    for wall in list(draft.divisions.live()):
        if draft.divisions[wall].why == FENCE and not keeps_apart(draft, wall, {wall}):
            alarms.clear_alarm(draft, alarm_of(wall))
            draft.emit(DivisionSet(wall, Division(ASKED, draft.now)))
