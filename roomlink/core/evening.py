"""What the evening needs of every decision, in one place: commands, deadlines, and what follows from all others."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from roomlink.core import clearing, closings, endings, late_turns, occupancy, paging, unmuting, wall_marks
from roomlink.core.commands import CLOCK, Recover
from roomlink.core.evening_records import (
    AnnounceRoutine,
    ClosingEnded,
    KeepOn,
    MarkWall,
    ProlongDate,
    ReportPaging,
    ReportPassDoor,
    ReportPresence,
    UnmarkWall,
)
from roomlink.core.events import Configured
from roomlink.core.state import Draft

DECIDE: dict[type[Any], Callable[[Draft, Any], dict[str, Any]]] = {
    ProlongDate: endings.prolong,
    AnnounceRoutine: closings.announce,
    KeepOn: closings.keep_on,
    ReportPresence: closings.report_presence,
    ReportPaging: paging.report,
    MarkWall: wall_marks.mark,
    UnmarkWall: wall_marks.unmark,
    ReportPassDoor: wall_marks.report_pass_door,
}


def _closing_due(draft: Draft, routine: str, zone: str) -> None:
    if closings.ripe(draft, routine, zone):
        due = draft.closings[routine, zone].due
        draft.emit(ClosingEnded(routine, zone, "its time has come"))
        occupancy.run_in(draft, routine, (zone,), CLOCK, due)


DUE: dict[str, Callable[..., None]] = {
    "ending": endings.due,
    "closing": _closing_due,
    "paging": paging.due,
    "turn": late_turns.due,
}
"""Deadlines, with what is done when they come."""


def follow(draft: Draft, command: Any, zones: Iterable[str]) -> None:
    """After any command; ``zones`` are those of its reply."""
    unmuting.follow(draft, command, zones)
    paging.follow(draft)
    wall_marks.follow(draft)
    if isinstance(command, Recover):
        wall_marks.forget_doors(draft)
        clearing.after_outage(draft, command.last)
    if any(isinstance(event, Configured) for event in draft.events):
        paging.settle(draft)
        closings.settle(draft)
    endings.follow(draft)
    late_turns.follow(draft)
