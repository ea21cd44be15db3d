"""How events of the evening change the state, and the events that give it back. No policy here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from roomlink.core import evening_records as rec
from roomlink.core.state import State


def _ending_set(state: State, event: rec.EndingSet) -> None:
    key = (event.booking, event.key)
    state.endings[key] = event.now
    state.deadlines.set(("ending", *key), event.now.warn)


def _ending_dropped(state: State, event: rec.EndingDropped) -> None:
    key = (event.booking, event.key)
    state.endings.drop(key)
    state.deadlines.set(("ending", *key), None)


def _closing_set(state: State, event: rec.ClosingSet) -> None:
    key = (event.routine, event.zone)
    state.closings[key] = event.now
    state.deadlines.set(("closing", *key), event.now.at if event.now.warn is None else event.now.warn)


def _closing_ended(state: State, event: rec.ClosingEnded) -> None:
    key = (event.routine, event.zone)
    state.closings.drop(key)
    state.deadlines.set(("closing", *key), None)


def _presence_set(state: State, event: rec.PresenceSet) -> None:
    if event.since is None:
        state.presences.drop(event.zone)
    else:
        state.presences[event.zone] = event.since


def _paging_started(state: State, event: rec.PagingStarted) -> None:
    state.pagings[event.paging] = event.now
    state.deadlines.set(("paging", event.paging), event.now.until)


def _paging_ended(state: State, event: rec.PagingEnded) -> None:
    state.pagings.drop(event.paging)
    state.deadlines.set(("paging", event.paging), None)


def _wall_marked(state: State, event: rec.WallMarked) -> None:
    state.wall_marks[event.partition] = event.now


def _wall_unmarked(state: State, event: rec.WallUnmarked) -> None:
    state.wall_marks.drop(event.partition)


def _pass_door_set(state: State, event: rec.PassDoorSet) -> None:
    if event.is_open is None:
        state.pass_doors.drop(event.partition)
    else:
        state.pass_doors[event.partition] = "open" if event.is_open else "closed"


APPLY: dict[type[Any], Callable[[State, Any], None]] = {
    rec.EndingSet: _ending_set,
    rec.EndingDropped: _ending_dropped,
    rec.ClosingSet: _closing_set,
    rec.ClosingEnded: _closing_ended,
    rec.PresenceSet: _presence_set,
    rec.PagingStarted: _paging_started,
    rec.PagingEnded: _paging_ended,
    rec.WallMarked: _wall_marked,
    rec.WallUnmarked: _wall_unmarked,
    rec.PassDoorSet: _pass_door_set,
}


def snapshot(state: State) -> Iterator[rec.EveningEvent]:
    yield from (rec.EndingSet(*key, ending) for key, ending in state.endings.items())
    yield from (rec.ClosingSet(*key, closing) for key, closing in state.closings.items())
    yield from (rec.PresenceSet(zone, since) for zone, since in state.presences.items())
    yield from (rec.PagingStarted(name, paging) for name, paging in state.pagings.items())
    yield from (rec.WallMarked(name, mark) for name, mark in state.wall_marks.items())
    yield from (rec.PassDoorSet(name, stands == "open") for name, stands in state.pass_doors.items())
