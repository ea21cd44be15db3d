"""Routines that would end a party: people in the zone are told beforehand, may keep it on, and recent use or somebody's
presence puts the routine off.

A routine cares with ``unless_used``. Each zone waits for itself; what it waits for is a deadline.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from roomlink.core import links, scenes
from roomlink.core.checks import require
from roomlink.core.evening_records import (
    AnnounceRoutine,
    Closing,
    ClosingEnded,
    ClosingSet,
    KeepOn,
    PresenceSet,
    ReportPresence,
)
from roomlink.core.groups import has_guests
from roomlink.core.instants import clock, rfc3339
from roomlink.core.state import Draft, State
from roomlink.errors import Refused

Data = dict[str, Any]


def zones_of(state: State, routine: str) -> tuple[str, ...]:
    """The zones that a routine is for: its own, else its scene's."""
    spec = state.spec.routines[routine]
    if spec.zones is not None:
        return spec.zones
    return tuple(scenes.scope(state, scenes.find(state, spec.scene)[0])) if spec.scene in scenes.names(state) else ()


def _in_use(state: State, zone: str, quiet: float, at: float) -> tuple[float, str] | None:
    """Until when a zone is taken for in use, as seen at a stamp, and why; None where it is not.

    It is while somebody is present, and for ``quiet`` seconds after a hand used it.
    """
    if zone in state.presences:
        return at + quiet, "somebody is there"
    used = state.used.get(zone)
    if used is None or used + quiet <= at:
        return None
    return used + quiet, f"used at {clock(state.spec.timezone, used)}"


def put_off(draft: Draft, routine: str, zones: Iterable[str], due: float) -> tuple[str, ...]:
    """Of ``zones`` those in which a routine runs now; in the others, which are in use, it is put off."""
    spec, run = draft.spec.routines[routine], []
    for zone in zones:
        old = draft.closings.get((routine, zone))
        if old is not None and old.at > draft.now:
            continue  # kept on, or put off already
        busy = _in_use(draft, zone, spec.unless_used, draft.now) if spec.unless_used > 0.0 else None
        if busy is not None:
            _wait(draft, routine, zone, busy[0], due, busy[1])
            continue
        if old is not None:
            draft.emit(ClosingEnded(routine, zone, "it runs"))
        run.append(zone)
    return tuple(run)


def _wait(draft: Draft, routine: str, zone: str, at: float, due: float, why: str) -> None:
    warn = at - draft.spec.routines[routine].warn
    draft.emit(ClosingSet(routine, zone, Closing(at, due, why, warn if warn > draft.now else None)))


def announce(draft: Draft, command: AnnounceRoutine) -> Data:
    """A routine comes: tell those whom it would surprise. The reply's ``zones`` are theirs."""
    name = command.routine
    require("routine", name, draft.spec.routines)
    quiet, told = draft.spec.routines[name].unless_used, []
    for zone in zones_of(draft, name) if quiet > 0.0 and command.due > draft.now else ():
        busy = _in_use(draft, zone, quiet, draft.now)
        if busy is not None and not has_guests(draft, zone) and (name, zone) not in draft.closings:
            draft.emit(ClosingSet(name, zone, Closing(command.due, command.due, busy[1], None)))
            told.append(zone)
    return {"zones": told}


def keep_on(draft: Draft, command: KeepOn) -> Data:
    """Somebody wants to stay: the routine waits once more as long as after a use."""
    name = command.routine
    require("routine", name, draft.spec.routines)
    waiting = [zone for routine, zone in draft.closings.live() if routine == name]
    own = set(waiting) if command.controller is None else links.own_zones(draft, command.controller)
    zones = [zone for zone in waiting if zone in own and (command.zones is None or zone in command.zones)]
    if not zones:
        where = f" in {', '.join(command.zones)}" if command.zones else ""
        raise Refused("nothing-closes", f"{name} is not about to end anything{where}", routine=name)
    for zone in zones:
        old = draft.closings[name, zone]
        at = max(draft.now, old.at) + draft.spec.routines[name].unless_used
        _wait(draft, name, zone, at, old.due, f"kept on by {command.by.who}")
    return {"zones": zones}


def ripe(draft: Draft, routine: str, zone: str) -> bool:
    """A closing is due: whether the routine's own time has come. Before that people are warned, or it waits on."""
    closing = draft.closings.get((routine, zone))
    if closing is None:
        return False
    if closing.warn is None:
        return closing.at <= draft.now
    if closing.warn <= draft.now:
        busy = _in_use(draft, zone, draft.spec.routines[routine].unless_used, draft.now)
        if busy is not None and busy[0] > closing.at:
            _wait(draft, routine, zone, busy[0], closing.due, busy[1])
        else:
            draft.emit(ClosingSet(routine, zone, replace(closing, warn=None)))
    return False


def report_presence(draft: Draft, command: ReportPresence) -> Data:
    require("zone", command.zone, draft.spec.zones)
    if command.present != (command.zone in draft.presences):
        draft.emit(PresenceSet(command.zone, draft.now if command.present else None))
    return {"zones": [command.zone]}


def settle(draft: Draft) -> None:
    """After a new configuration: what waits for routines that are gone, or are for other zones now, is over."""
    for routine, zone in list(draft.closings.live()):
        spec, old = draft.spec.routines.get(routine), draft.beneath.spec.routines.get(routine)
        if spec is None or spec.unless_used <= 0.0 or zone not in zones_of(draft, routine):
            draft.emit(ClosingEnded(routine, zone, "it is no longer configured"))
        elif _only_announced(draft, routine, zone) and (old is None or old.cron != spec.cron):
            draft.emit(ClosingEnded(routine, zone, "it comes at another time now"))
    for zone in list(draft.presences.live()):
        if zone not in draft.spec.data.get("presence", {}):
            draft.emit(PresenceSet(zone, None))


def _only_announced(draft: Draft, routine: str, zone: str) -> bool:
    """Whether a routine's time has yet to come, and nobody has put it off."""
    closing = draft.closings[routine, zone]
    return closing.at == closing.due > draft.now


def told(state: State, zones: Iterable[str]) -> list[Data]:
    """What people in ``zones`` are told of routines: what comes when, and why not before. ``warned``: it is soon."""
    here, found = set(zones), []
    for routine, zone in state.closings.live():
        closing, spec = state.closings[routine, zone], state.spec.routines.get(routine)
        if zone in here and spec is not None:
            found.append(
                {
                    "routine": routine,
                    "name": spec.name or routine,
                    "zone": zone,
                    "at": rfc3339(closing.at),
                    "due": rfc3339(closing.due),
                    "why": closing.why,
                    "warned": closing.warn is None,
                }
            )
    return found
