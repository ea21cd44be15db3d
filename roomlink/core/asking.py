"""Open walls that do not combine by themselves: asked about, waiting for a hand, kept apart on purpose, or fenced.

Each is a ``Division``, which the wall has while it is open; where it has none, an open wall joins its zones.
"""

from __future__ import annotations

from collections.abc import Iterable

from roomlink.core import alarms, fences
from roomlink.core.checks import require, require_unlocked
from roomlink.core.division_commands import CombineWall
from roomlink.core.divisions import APART, ASKED, BY_HAND, FENCE, Division, DivisionEnded, DivisionSet
from roomlink.core.leading import lead_of
from roomlink.core.state import Draft
from roomlink.errors import Refused

WAITS = {"ask": ASKED, "hand": BY_HAND}
"""What a wall that does not combine by itself waits for, by ``combine`` of the configuration."""


def settle(draft: Draft, seeds: Iterable[str]) -> None:
    """Before zones around ``seeds`` are regrouped: divisions of walls that close end, of those that open begin."""
    around = {wall: None for zone in seeds if zone in draft.spec.zones for wall in draft.spec.walls_of[zone]}
    opened = []
    for name in around:
        wall = draft.walls.get(name)
        if wall is None:
            continue
        if not wall.joins:
            # A wall that nothing is known of may be open still: what people said of it outlasts a restart.
            if wall.position == "closed":
                end(draft, name, "the wall closed")
        elif name not in draft.divisions and not _joined(draft, name):
            opened.append(name)
    fences.fence(draft, opened)
    for name in opened:
        waits = WAITS.get(draft.spec.partitions[name].combine)
        if waits is not None and name not in draft.divisions:
            draft.emit(DivisionSet(name, Division(waits, draft.now)))


def _joined(draft: Draft, name: str) -> bool:
    """Whether the wall was open before this command."""
    before = draft.beneath.walls.get(name)
    return before is not None and before.joins


def end(draft: Draft, name: str, why: str) -> None:
    """The wall is no longer kept as a division."""
    division = draft.divisions.get(name)
    if division is None:
        return
    if division.why == FENCE:
        alarms.clear_alarm(draft, fences.alarm_of(name))
    draft.emit(DivisionEnded(name, why))


def decide_wall(draft: Draft, command: CombineWall) -> tuple[str, ...]:
    """Take what a person says about an open wall. Gives the zones to regroup around.

    Raises ``Refused`` for a wall that is not open, for a panel that does not speak for either side, and for one that
    would let two bookings together.
    """
    name = command.partition
    require("partition", name, draft.spec.partitions)
    between = draft.spec.partitions[name].between
    division = draft.divisions.get(name)
    if command.controller is not None:
        _require_speaks(draft, command.controller, between)
        if division is not None and division.why == FENCE:
            raise _fenced(name)
    if not draft.walls[name].joins:
        text = f"{name} is not open: only an open wall combines its zones or is kept apart; an overflow joins others"
        raise Refused("not-open", text, partition=name, position=draft.walls[name].position)
    if command.combine:
        # Fences are looked for when a wall opens; a booking may have begun beyond it since.
        if command.controller is not None and division is not None and fences.keeps_apart(draft, name, {name}):
            raise _fenced(name)
        end(draft, name, f"combined by {command.by.who}")
    elif division is None or division.why != APART:
        if division is not None and division.why == FENCE:
            alarms.clear_alarm(draft, fences.alarm_of(name))
        draft.emit(DivisionSet(name, Division(APART, draft.now, command.by.who)))
    return between


def _fenced(name: str) -> Refused:
    text = f"{name} is open between two bookings: a technician decides, on the plan"
    return Refused("fenced", text, partition=name)


def _require_speaks(draft: Draft, controller: str, between: tuple[str, str]) -> None:
    """A panel speaks for its own group: if it leads it, or nobody does."""
    require("controller", controller, draft.spec.controllers)
    require_unlocked(draft, controller)
    home = draft.spec.controllers[controller].home
    group = draft.group_of.get(home, (home,))
    if not set(group).intersection(between):
        text = f"{controller} is at neither side of this wall"
        raise Refused("out-of-reach", text, allowed=list(between))
    lead = lead_of(draft, group)
    if lead not in (None, controller):
        raise Refused("not-the-lead", f"{lead} leads here: ask there", controller=controller, lead=lead)
