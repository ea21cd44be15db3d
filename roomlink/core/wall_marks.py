"""What people and contacts say of walls beside where they stand: that one is not to be moved, and its pass door.

A pass door is a door in a wall. It is shown, and joins nothing: people walk through it while the wall is closed.
"""

from __future__ import annotations

from typing import Any

from roomlink import limits
from roomlink.core.checks import require
from roomlink.core.evening_records import (
    MarkWall,
    PassDoorSet,
    ReportPassDoor,
    UnmarkWall,
    WallMark,
    WallMarked,
    WallUnmarked,
)
from roomlink.core.events import WallDropped
from roomlink.core.instants import rfc3339
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue

Data = dict[str, Any]


def mark(draft: Draft, command: MarkWall) -> Data:
    """Mark a wall "do not move", with the reason; marked again, with another one."""
    require("partition", command.partition, draft.spec.partitions)
    why = command.why.strip()
    if not 1 <= len(why) <= limits.WALL_MARK_CHARS_MAX:
        text = f"say why it is not to be moved, in 1 to {limits.WALL_MARK_CHARS_MAX} characters"
        raise BadValue("why", text, maximum=limits.WALL_MARK_CHARS_MAX)
    old = draft.wall_marks.get(command.partition)
    if old is None or old.why != why:
        draft.emit(WallMarked(command.partition, WallMark(why, command.by.who, draft.now)))
    return {"zones": list(draft.spec.partitions[command.partition].between)}


def unmark(draft: Draft, command: UnmarkWall) -> Data:
    """Take the mark away; a wall without one stays as it is."""
    require("partition", command.partition, draft.spec.partitions)
    if command.partition in draft.wall_marks:
        draft.emit(WallUnmarked(command.partition))
    return {"zones": list(draft.spec.partitions[command.partition].between)}


def report_pass_door(draft: Draft, command: ReportPassDoor) -> Data:
    require("partition", command.partition, draft.spec.partitions)
    stands = None if command.is_open is None else "open" if command.is_open else "closed"
    if draft.pass_doors.get(command.partition) != stands:
        draft.emit(PassDoorSet(command.partition, command.is_open))
    return {"zones": list(draft.spec.partitions[command.partition].between)}


def forget_doors(draft: Draft) -> None:
    """After a start: what a door's contact said is not known any more until it speaks."""
    for name in list(draft.pass_doors.live()):
        draft.emit(PassDoorSet(name, None))


def follow(draft: Draft) -> None:
    """After any command: of a wall that is gone nothing is said any more."""
    for event in list(draft.events):
        if isinstance(event, WallDropped):
            if event.partition in draft.wall_marks:
                draft.emit(WallUnmarked(event.partition))
            if event.partition in draft.pass_doors:
                draft.emit(PassDoorSet(event.partition, None))


def view(state: State, partition: str) -> Data:
    """``do_not_move`` with who says so and why, and ``pass_door``: open, closed or None where nobody knows."""
    found = state.wall_marks.get(partition)
    return {
        "do_not_move": None if found is None else {"why": found.why, "by": found.by, "since": rfc3339(found.since)},
        "pass_door": state.pass_doors.get(partition),
    }
