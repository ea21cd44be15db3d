"""Partitions: a report counts once it is steady, a pin holds against the sensor, the unknown is held or closed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import combining
from roomlink.core.alarms import clear_alarm, raise_alarm
from roomlink.core.checks import require, seconds
from roomlink.core.commands import Actor, ReportWall
from roomlink.core.events import WallSet
from roomlink.core.records import Wall
from roomlink.core.spec import PartitionSpec
from roomlink.core.state import Draft
from roomlink.errors import BadValue, Refused

POSITIONS = ("closed", "open", "moving", "unknown")
STATED = ("closed", "open")
"""What a person can state: nobody states that a wall is unknown."""

ENDS = ("closed", "stacked")
"""Where a wall may have a contact, in the order of a pair of contacts."""

# (closed end made, stacked end made) where both contacts are fitted.
TWO_CONTACTS = {
    (True, False): "closed",
    (False, True): "open",
    (False, False): "moving",
    (True, True): "unknown",
}


def report(draft: Draft, command: ReportWall) -> dict[str, Any]:
    """Take a report or a pin. The reply's ``zones`` are the wall's."""
    name = command.partition
    require("partition", name, draft.spec.partitions)
    spec = draft.spec.partitions[name]
    wall = draft.walls[name]
    if command.pin is None and wall.pinned_until is not None and command.by.via == "http":
        text = f"{name} is pinned {wall.position} by {wall.by}: a `pin` of 0 takes it away, another `pin` replaces it"
        raise Refused("pinned", text, field="pin", position=wall.position, by=wall.by)
    if command.contacts is not None or command.lost:
        contacts = _heard(wall, command)
        wall = replace(wall, contacts=contacts)
        fitted = draft.spec.data["partitions"][name].get("contacts") or ()
        position: str | None = by_contacts(contacts, (*fitted, *command.lost))
    else:
        position = command.position
        allowed = STATED if command.pin else POSITIONS
        if position not in allowed and not (position is None and command.pin == 0):
            raise BadValue("position", f"{position!r} is not a position: {', '.join(allowed)}", allowed=list(allowed))
    if command.pin is not None:
        pin_s = seconds("pin", command.pin, limits.PIN_S_MAX)
        if pin_s > 0.0:
            assert position is not None
            wall = replace(wall, pinned_until=draft.now + pin_s, by=command.by.who, via=command.by.via)
            combining.regroup(draft, put(draft, name, take(spec, wall, position, "pinned", draft.now)))
            return {"zones": list(spec.between)}
        if wall.pinned_until is not None:
            wall = unpinned(spec, wall, draft.now)
    if position is not None:
        wall = reported(spec, wall, position, draft.now, command.by)
    combining.regroup(draft, put(draft, name, wall))
    return {"zones": list(spec.between)}


def _heard(wall: Wall, command: ReportWall) -> tuple[bool | None, bool | None]:
    """What the contacts say now: what was not reported stays as it was, what is lost says nothing."""
    for end in command.lost:
        if end not in ENDS:
            raise BadValue("lost", f"{end!r} is not an end of a wall: {', '.join(ENDS)}", allowed=list(ENDS))
    said = command.contacts or (None, None)
    closed, stacked = (
        None if end in command.lost else before if now is None else now
        for end, before, now in zip(ENDS, wall.contacts, said, strict=True)
    )
    return closed, stacked


def by_contacts(contacts: tuple[bool | None, bool | None], fitted: Iterable[str] = ()) -> str:
    """The position that one or two contacts mean. One alone tells only whether its end is made.

    A contact that is ``fitted`` but says nothing is not missing: without it the position is unknown.
    """
    closed, stacked = contacts
    if any(contacts[ENDS.index(end)] is None for end in fitted):
        return "unknown"
    if stacked is None:
        return "unknown" if closed is None else "closed" if closed else "open"
    if closed is None:
        return "open" if stacked else "closed"
    return TWO_CONTACTS[closed, stacked]


def reported(spec: PartitionSpec, wall: Wall, position: str, now: float, by: Actor) -> Wall:
    """A report comes in: it counts at once without a settle time, else it starts, keeps or ends the waiting."""
    if wall.report == position and wall.due is not None:
        return wall
    wall = replace(wall, told=(by.who, by.via))
    if position == wall.sensed:
        wall = replace(wall, report=None, due=None)
        return wall if wall.pinned_until is not None else replace(wall, by=by.who, via=by.via)
    wall = replace(wall, report=position, due=now + spec.settle)
    return counted(spec, wall, now) if spec.settle <= 0.0 else wall


def counted(spec: PartitionSpec, wall: Wall, now: float) -> Wall:
    """The waiting report has been steady: it counts, unless a pin stands against it."""
    position = wall.report
    assert position is not None
    wall = replace(wall, sensed=position, report=None, due=None)
    return wall if wall.pinned_until is not None else take(spec, wall, position, "sensed", now)


def unpinned(spec: PartitionSpec, wall: Wall, now: float) -> Wall:
    """The pin is over: back to what was last sensed, if anything was."""
    wall = replace(wall, pinned_until=None)
    return take(spec, wall, wall.sensed or "unknown", "sensed", now)


def take(spec: PartitionSpec, wall: Wall, position: str, trust: str, now: float) -> Wall:
    """``position`` counts from now on. A moving or unknown wall keeps what it had, or counts as closed.

    A wall that has been silent since a restart and then says that it is unknown stays as late as it was.
    """
    joins = wall.joins
    if position in STATED:
        joins = position == "open"
    elif position == "unknown" and spec.on_unknown == "closed":
        joins = False
    by, via = (wall.by, wall.via) if trust == "pinned" else wall.told
    late = wall.late if position == wall.position == "unknown" else None
    return replace(
        wall,
        position=position,
        joins=joins,
        trust="unknown" if position == "unknown" else trust,
        late=now + spec.move_limit if position == "moving" else late,
        by=by,
        via=via,
    )


def put(draft: Draft, name: str, wall: Wall) -> tuple[str, ...]:
    """Decide a wall's new record and its alarms.

    Gives the zones that it joins or parts: the caller regroups around those of all walls that it puts, once. One wall
    after the other would treat zones for arrangements that never were.
    """
    old = draft.walls[name]
    if wall == old:
        return ()
    draft.emit(WallSet(name, wall))
    if wall.position == "unknown" and old.position != "unknown":
        held = "its last known position is held" if wall.joins else "it counts as closed"
        raise_alarm(draft, f"wall-unknown/{name}", f"the position of {name} is unknown; {held}")
    elif wall.position != "unknown":
        clear_alarm(draft, f"wall-unknown/{name}")
    if wall.position != "moving":
        clear_alarm(draft, f"wall-late/{name}")
    moved = wall.joins != old.joins or (name in draft.divisions and wall.position != old.position)
    return draft.spec.partitions[name].between if moved else ()


def overdue(draft: Draft, name: str) -> None:
    """A wall has been moving, or has not reported since a restart, for too long."""
    wall = draft.walls[name]
    draft.emit(WallSet(name, replace(wall, late=None)))
    if wall.position == "moving":
        raise_alarm(
            draft, f"wall-late/{name}", f"{name} has been moving for too long; look at the wall and its contacts"
        )
    else:
        raise_alarm(draft, f"wall-unknown/{name}", f"{name} has not reported its position since the service started")
