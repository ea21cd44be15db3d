"""How a venue is made ready for one arrangement's proof, and in what circumstances a wall moves there.

Each zone gets values that no other has, and none that it had alone, so that a value that turns up in the wrong place
shows. Then sources are made to travel, and the panels in charge are held.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from roomlink.core import microphones, sources
from roomlink.core.commands import (
    Act,
    Actor,
    AssignMicrophone,
    CombineWall,
    Command,
    EndOverflow,
    ReportOverride,
    ReportWall,
    StartOverflow,
)
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, SwitchSpec, Value
from roomlink.core.travel_spec import VENUE
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.trial import Trial

WALL = Actor("wall", "contact")
PERSON = Actor("alex", "panel", "alex")
PANEL = Actor("fire panel", "device")
OVERFLOW = "rehearsed"
"""The name of an overflow that a proof starts."""
AT_FIRST, AT_THE_PROOF = 0.0, 0.5
"""Where between its neighbours' values a zone stands before its walls open, and once they stand as to be proved."""


def moved(wall: str, position: str) -> Command:
    return ReportWall(WALL, wall, position)


def opened(plan: Plan, wall: str) -> Iterator[Command]:
    """The wall opens; where it does not combine by itself a person combines it."""
    yield moved(wall, "open")
    if plan.spec.partitions[wall].combine != "auto":
        yield CombineWall(PERSON, wall, True)


def distinct(plan: Plan, turn: float) -> Iterator[Command]:
    """Give every zone values of its own; radio microphones are in their first zone."""
    travel = plan.spec.travel
    count = len(plan.zones)
    for rank, zone in enumerate(plan.zones):
        for control, spec in plan.spec.zones[zone].controls.items():
            radio = travel.microphones.get(travel.roaming.get(control, ""))
            value = _distinct(spec, rank, count, turn) if radio is None or radio.zone == zone else None
            if value is not None:
                yield Act(PERSON, control, "set", zone=zone, value=value)


def _distinct(spec: ControlSpec, rank: int, count: int, turn: float) -> Value:
    if isinstance(spec, LevelSpec):
        return round(spec.lo + (spec.top - spec.lo) * (rank + 1 + turn) / (count + 2), 2)
    if isinstance(spec, ChoiceSpec):
        return spec.options[(rank + (turn > 0.0)) % len(spec.options)]
    return (rank % 2 == 0) != (turn > 0.0) if isinstance(spec, SwitchSpec) else None


def travelling(plan: Plan, trial: Trial) -> Iterator[Command]:
    """In every joined group, each other zone shows what another one has."""
    for zone, control in plan.travelling:
        group = trial.state.group_of[zone]
        place = group.index(zone)
        if place % 2:
            there = group[(place + 1) % len(group)]
            theirs = plan.controls.get((there, control))
            if isinstance(theirs, ChoiceSpec) and theirs.sources:
                yield Act(
                    PERSON, control, "set", zone=zone, value=f"{there}/{theirs.options[place % len(theirs.options)]}"
                )


def flowing(plan: Plan, trial: Trial, wall: str) -> None:
    """An overflow between two rooms, and what is the venue's, while the wall moves; then the overflow ends.

    A zone beside the wall has what is over there, and another one what belongs to nobody.
    """
    group_of, to = trial.state.group_of, plan.walls[wall][0]
    for zone, control in plan.travelling:
        group = group_of[zone]
        if to in group:
            offered = [o for o in sources.offered(trial.state, zone, control) if o.startswith(f"{VENUE}/")]
            if offered and zone != to:
                trial.do(Act(PERSON, control, "set", zone=zone, value=offered[0]), 0.0)
            continue
        there = plan.controls.get((to, control))
        if isinstance(there, ChoiceSpec) and there.sources and OVERFLOW not in trial.state.one_ways:
            trial.do(StartOverflow(PERSON, OVERFLOW, zone, to), 0.0)
            brought = [o for o in sources.offered(trial.state, to, control) if o.startswith(f"{group[-1]}/")]
            if brought:
                trial.do(Act(PERSON, control, "set", zone=to, value=brought[0]))
    trial.do(moved(wall, "closed" if trial.state.walls[wall].joins else "open"))
    if OVERFLOW in trial.state.one_ways:
        trial.do(EndOverflow(PERSON, OVERFLOW))


def talking(plan: Plan, trial: Trial, wall: str) -> None:
    """All microphones are open while the wall moves; then each radio microphone goes to another zone."""
    for zone, z in plan.spec.zones.items():
        for control in z.controls:
            if control in plan.spec.travel.mutes and microphones.here(trial.state, zone, control):
                trial.do(Act(PERSON, control, "set", zone=zone, value=False), 0.0)
    trial.do(moved(wall, "closed" if trial.state.walls[wall].joins else "open"))
    for name in plan.spec.travel.radios:
        zones = plan.spec.travel.microphones[name].zones
        place = zones.index(microphones.zone_of(trial.state, name))
        trial.do(AssignMicrophone(PERSON, name, zones[(place + 1) % len(zones)]))


def holding(plan: Plan, trial: Trial) -> Iterator[Command]:
    """Somebody holds the first momentary of every joined group's lead."""
    for group in dict.fromkeys(trial.state.group_of.values()):
        lead = plan.lead_of(group)
        held = next((c for z, c in plan.momentaries if lead is not None and z == plan.homes[lead]), None)
        if len(group) > 1 and held is not None:
            yield Act(PERSON, held, "press", controller=lead)


# Circumstances in which a wall moves. Each is given the trial, the wall and where it goes, and carries it out.


def _plainly(plan: Plan, trial: Trial, wall: str, position: str) -> None:
    trial.do(moved(wall, position))


def _on_the_way(plan: Plan, trial: Trial, wall: str, position: str) -> None:
    """A level of a zone beside the wall is on its way when the wall counts."""
    settle = plan.spec.partitions[wall].settle
    zone = plan.walls[wall][0]
    for control, spec in plan.spec.zones[zone].controls.items():
        if isinstance(spec, LevelSpec) and spec.scope != "local":
            trial.do(Act(PERSON, control, "set", zone=zone, value=spec.lo, over=settle + 2.0), 0.5)
            break
    trial.do(moved(wall, position))


def _in_the_gap(plan: Plan, trial: Trial, wall: str, position: str) -> None:
    """A choice beside the wall is in its gap when the wall counts."""
    settle = plan.spec.partitions[wall].settle
    zone = plan.walls[wall][1]
    for control, spec in plan.spec.zones[zone].controls.items():
        if isinstance(spec, ChoiceSpec) and spec.gap > 0.0 and settle > spec.gap and len(spec.options) > 2:
            trial.do(moved(wall, position), settle - spec.gap / 2.0)
            trial.do(Act(PERSON, control, "set", zone=zone, value=spec.options[2]))
            return
    trial.do(moved(wall, position))


def _with_a_bounce(plan: Plan, trial: Trial, wall: str, position: str) -> None:
    """The contact bounces before the wall has settled."""
    settle = plan.spec.partitions[wall].settle
    if settle > 0.0:
        trial.do(moved(wall, position), settle / 2.0)
        trial.do(moved(wall, "closed" if position == "open" else "open"), settle * 0.75)
    trial.do(moved(wall, position))


CIRCUMSTANCES: tuple[Callable[[Plan, Trial, str, str], None], ...] = (
    _plainly,
    _on_the_way,
    _in_the_gap,
    _with_a_bounce,
)
"""Every transition is proved in one of these, in turn."""


def lost_sight(plan: Plan, trial: Trial, wall: str) -> None:
    """The wall's contact makes no sense any more, and then speaks again."""
    position = "open" if trial.state.walls[wall].joins else "closed"
    trial.do(moved(wall, "unknown"))
    trial.do(moved(wall, position))


def under_an_override(plan: Plan, trial: Trial, wall: str) -> None:
    """The wall moves while an override stands, which then clears."""
    position = "closed" if trial.state.walls[wall].joins else "open"
    for override in plan.overrides:
        trial.do(ReportOverride(PANEL, override, True, "rehearsed"))
        trial.do(moved(wall, position))
        trial.do(ReportOverride(PANEL, override, False))


def every(commands: Iterator[Command]) -> Iterator[tuple[Command, float | None]]:
    """One after the other without waiting, but for the last: then the venue comes to rest."""
    listed = list(commands)
    for place, command in enumerate(listed, start=1):
        yield command, 0.0 if place < len(listed) else None
