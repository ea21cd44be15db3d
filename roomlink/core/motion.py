"""Motion: one direction at a time, a rest before reversing, never longer than the longest run, never by itself.

This orders outputs; it does not make a machine safe. Hard-wired limits and protection come first.
"""

from __future__ import annotations

from dataclasses import replace

from roomlink.core.events import ControlSet
from roomlink.core.records import Motion
from roomlink.core.spec import MotionSpec
from roomlink.core.state import Draft

DIRECTIONS = ("open", "close")


def start(draft: Draft, zone: str, control: str, direction: str, *, by: str) -> None:
    """Run in ``direction``: at once, or when the rest that reversing needs is over."""
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, MotionSpec)
    assert isinstance(record, Motion)
    if record.running == direction:
        return
    record = _stopped(record, draft.now, by)
    reverses = record.last is not None and record.last != direction
    spent = record.last == direction and record.began + spec.max_run <= draft.now
    ready = record.stopped + spec.dead_time if reverses or spent else draft.now
    if ready <= draft.now:
        now = _running(record, direction, draft.now, spec)
    else:
        now = replace(record, pending=direction, due=ready)
    draft.emit(ControlSet(zone, control, replace(now, by=by)))


def stop(draft: Draft, zone: str, control: str, *, by: str) -> None:
    """Stop, and forget what waits. Never refused."""
    record = draft.controls[zone, control]
    if isinstance(record, Motion) and (record.running is not None or record.pending is not None):
        draft.emit(ControlSet(zone, control, _stopped(record, draft.now, by)))


def matured(record: Motion, spec: MotionSpec, now: float) -> Motion | None:
    """What becomes of a motion that was due: a waiting one runs from now on, one that ran its longest stops."""
    if record.pending is not None and record.due is not None and record.due <= now:
        return _running(record, record.pending, now, spec)
    if record.running is not None and record.until is not None and record.until <= now:
        return _stopped(record, now, "its longest run was over")
    return None


def _running(record: Motion, direction: str, now: float, spec: MotionSpec) -> Motion:
    goes_on = record.last == direction and now < record.stopped + spec.dead_time
    began = record.began if goes_on else now
    return Motion(direction, began, now, began + spec.max_run, direction, record.stopped, by=record.by)


def _stopped(record: Motion, now: float, by: str) -> Motion:
    if record.running is None:
        return replace(record, pending=None, due=None, by=by)
    return Motion(None, record.began, now, None, record.running, now, by=by)


def stop_all(draft: Draft, zones: tuple[str, ...], by: str) -> None:
    """Stop every motion in ``zones``."""
    for zone in zones:
        for control, spec in draft.spec.zones[zone].controls.items():
            if isinstance(spec, MotionSpec) and (zone, control) in draft.controls:
                stop(draft, zone, control, by=by)
