"""How a venue is made ready for one arrangement's proof, and in what circumstances a wall moves there.

Each zone gets values that no other has, and none that it had alone, so that a value that turns up in the wrong place
shows. Then sources are made to travel, and the panels in charge are held.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from roomlink.core.commands import Act, Actor, Command, ReportOverride, ReportWall
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, SwitchSpec, Value
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.trial import Trial

WALL = Actor("wall", "contact")
PERSON = Actor("alex", "panel", "alex")
PANEL = Actor("fire panel", "device")
AT_FIRST, AT_THE_PROOF = 0.0, 0.5
"""Where between its neighbours' values a zone stands before its walls open, and once they stand as to be proved."""


def moved(wall: str, position: str) -> Command:
    return ReportWall(WALL, wall, position)


def distinct(plan: Plan, turn: float) -> Iterator[Command]:
    """Give every zone values of its own."""
    count = len(plan.zones)
    for rank, zone in enumerate(plan.zones):
        for control, spec in plan.spec.zones[zone].controls.items():
            value = _distinct(spec, rank, count, turn)
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
