"""What people see of walls: where each stands, who says so, and why an open one does not join its zones."""

from __future__ import annotations

from typing import Any

from roomlink.core import arrangements as named
from roomlink.core import diary_view, leading, wall_marks
from roomlink.core.divisions import Division
from roomlink.core.groups import joins
from roomlink.core.instants import rfc3339
from roomlink.core.state import State

Data = dict[str, Any]


def partition(state: State, name: str) -> Data:
    """A wall. ``reported`` is what is said against the position that counts: not steady yet, or beneath a pin.

    ``by`` said the position that counts, and ``source`` is how: a device's contact, HTTP, a panel.
    """
    wall = state.walls[name]
    beneath = wall.sensed if wall.pinned_until is not None and wall.sensed != wall.position else None
    return {
        "position": wall.position,
        "trust": wall.trust,
        "flagged": wall.flagged,
        "joins": joins(state, name),
        "division": None if (kept := state.divisions.get(name)) is None else _division(kept),
        "mismatched": named.mismatched(wall),
        "by": wall.by or None,
        "source": wall.via or None,
        "reported": beneath if wall.report is None else wall.report,
        "sensed": wall.sensed,
        "pinned_until": None if wall.pinned_until is None else rfc3339(wall.pinned_until),
        "requested": diary_view.wall_request(state, name),
        **wall_marks.view(state, name),
    }


def _division(kept: Division) -> Data:
    """Why an open wall does not join its zones."""
    return {"why": kept.why, "since": rfc3339(kept.since), "by": kept.by or None}


def partitions(state: State) -> Data:
    return {name: partition(state, name) for name in state.spec.partitions}


def arrangements(state: State) -> Data:
    """The named arrangements. One stands while all its walls count as it states them; ``mismatched`` are sensed
    otherwise beneath a pin.
    """
    found: Data = {}
    for name, spec in state.spec.arrangements.items():
        walls = {wall: state.walls[wall] for wall in spec.walls}
        found[name] = {
            "name": spec.name or name,
            "walls": dict(spec.walls),
            "pin": spec.pin,
            "stands": all(one.position == spec.walls[wall] for wall, one in walls.items()),
            "mismatched": [wall for wall, one in walls.items() if named.mismatched(one)],
        }
    return found


def groups(state: State) -> list[list[str]]:
    """Every group, in venue order."""
    return [list(g) for g in dict.fromkeys(state.group_of.get(z, (z,)) for z in state.spec.zones)]


def together(state: State) -> Data:
    """The groups, and who leads those of several zones, by their first zone."""
    return {"groups": groups(state), "leads": leading.told(state)}
