"""What people say of walls beyond reporting them: named arrangements, stated at once, and whether open walls combine.

An arrangement moves no wall: it states positions, as a pin does for one. Where a sensor says otherwise the pin holds,
and the reply names the wall.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import asking, combining, walls
from roomlink.core.checks import require, seconds
from roomlink.core.division_commands import CombineWall, StateArrangement
from roomlink.core.records import Wall
from roomlink.core.state import Draft


def state(draft: Draft, command: StateArrangement) -> dict[str, Any]:
    """Pin every wall of an arrangement, or take the pins away. ``mismatched`` names the walls sensed otherwise."""
    require("arrangement", command.arrangement, draft.spec.arrangements)
    spec = draft.spec.arrangements[command.arrangement]
    pin_s = spec.pin if command.pin is None else seconds("pin", command.pin, limits.PIN_S_MAX)
    seeds: dict[str, None] = {}
    for name, position in spec.walls.items():
        seeds.update(dict.fromkeys(walls.put(draft, name, _stated(draft, name, position, pin_s, command))))
    combining.regroup(draft, seeds)
    zones = [zone for zone in draft.spec.zones if any(zone in draft.spec.partitions[w].between for w in spec.walls)]
    return {"zones": zones, "mismatched": [name for name in spec.walls if mismatched(draft.walls[name])]}


def _stated(draft: Draft, name: str, position: str, pin_s: float, command: StateArrangement) -> Wall:
    wall, spec = draft.walls[name], draft.spec.partitions[name]
    if pin_s > 0.0:
        pinned = replace(wall, pinned_until=draft.now + pin_s, by=command.by.who, via=command.by.via)
        return walls.take(spec, pinned, position, "pinned", draft.now)
    # A pin to another position was stated by somebody for something else.
    return walls.unpinned(spec, wall, draft.now) if wall.pinned_until and wall.position == position else wall


def mismatched(wall: Wall) -> bool:
    """Whether a wall is pinned to one position and sensed, steadily, in the other."""
    return wall.pinned_until is not None and wall.sensed in walls.STATED and wall.sensed != wall.position


def combine(draft: Draft, command: CombineWall) -> dict[str, Any]:
    """Combine an open wall's zones, or keep it apart; with all that follows."""
    between = asking.decide_wall(draft, command)
    combining.regroup(draft, between)
    return {"zones": list(between)}


DECIDE: dict[type[Any], Callable[[Draft, Any], dict[str, Any]]] = {CombineWall: combine, StateArrangement: state}
