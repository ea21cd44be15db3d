"""Paging: while somebody speaks, the programme is lower at the outputs. No level changes for it.

It lies below overrides: where one masks a level, its value counts alone. It ends by itself when it lasts too long, so
that a microphone key that sticks does not keep the programme down.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from roomlink.core.checks import require
from roomlink.core.evening_records import Paging, PagingEnded, PagingStarted, ReportPaging
from roomlink.core.events import ControlDropped, ControlSet
from roomlink.core.records import Momentary
from roomlink.core.spec import LevelSpec
from roomlink.core.state import Draft, State


def zones_of(state: State, name: str) -> tuple[str, ...]:
    zones = state.spec.paging[name].zones
    return tuple(state.spec.zones) if zones is None else zones


def covered(state: State, name: str) -> Iterator[tuple[str, str]]:
    """(zone, level) of all that a paging makes lower; nothing for one that is no longer configured."""
    spec = state.spec.paging.get(name)
    if spec is None:
        return
    for zone in zones_of(state, name):
        controls = state.spec.zones[zone].controls if zone in state.spec.zones else {}
        yield from ((zone, control) for control in spec.ducks if isinstance(controls.get(control), LevelSpec))


def ducked(state: State, zone: str, control: str) -> float:
    """By how much a level's output is lower now, in its unit; the most of several that stand, 0 for none."""
    found = 0.0
    if not isinstance(state.spec.zones[zone].controls.get(control), LevelSpec):
        return found
    for name in state.pagings.live():
        spec = state.spec.paging.get(name)
        if spec is not None and control in spec.ducks and (spec.zones is None or zone in spec.zones):
            found = max(found, spec.by)
    return found


def lowered(state: State, zone: str, control: str, value: float) -> float:
    """What the output of a level is while it would be ``value``."""
    spec = state.spec.zones[zone].controls[control]
    assert isinstance(spec, LevelSpec)
    return max(spec.lo, value - ducked(state, zone, control))


def report(draft: Draft, command: ReportPaging) -> dict[str, Any]:
    """An input says that somebody pages, or no more. Saying so again changes nothing."""
    require("paging", command.paging, draft.spec.paging)
    _set(draft, command.paging, command.active, command.by.who, command.why or "it was let go")
    return {"zones": list(zones_of(draft, command.paging))}


def _set(draft: Draft, name: str, active: bool, by: str, why: str) -> None:
    if active and name not in draft.pagings:
        draft.emit(PagingStarted(name, Paging(draft.now, draft.now + draft.spec.paging[name].most, by)))
    elif not active and name in draft.pagings:
        draft.emit(PagingEnded(name, why))


def follow(draft: Draft) -> None:
    """After any command: a momentary that pages does so while it is held."""
    if not draft.spec.paging:
        return
    by_control = {spec.control: name for name, spec in draft.spec.paging.items() if spec.control is not None}
    for event in list(draft.events):
        if isinstance(event, ControlSet) and isinstance(event.now, Momentary):
            name = by_control.get(f"{event.zone}.{event.control}")
            if name is not None:
                _set(draft, name, event.now.value, event.now.by, "it was let go")
        elif isinstance(event, ControlDropped) and (name := by_control.get(f"{event.zone}.{event.control}")):
            _set(draft, name, False, "", "its control is no longer configured")


def due(draft: Draft, name: str) -> None:
    """It has lasted for too long."""
    paging = draft.pagings.get(name)
    if paging is not None and paging.until <= draft.now:
        draft.emit(PagingEnded(name, "it lasted too long"))


def settle(draft: Draft) -> None:
    """After a new configuration: pagings that it does not have are over."""
    for name in list(draft.pagings.live()):
        if name not in draft.spec.paging:
            draft.emit(PagingEnded(name, "it is no longer configured"))
