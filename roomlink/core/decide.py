"""The one way in: what a command makes happen, given the state and the time. Nothing is changed here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from functools import cache
from typing import Any

from roomlink.core import (
    alarms,
    arrangements,
    combining,
    commissioning,
    devices,
    diary,
    evening,
    fences,
    leading,
    leads,
    links,
    locking,
    motion,
    occupancy,
    orders,
    outside,
    overflows,
    overrides,
    people,
    radio,
    reference,
    scenes,
    turns,
    walls,
)
from roomlink.core.act import act
from roomlink.core.checks import require, require_unlocked
from roomlink.core.commands import (
    Act,
    Arm,
    AssignMicrophone,
    CancelBooking,
    ChangeBooking,
    ChangeOccurrence,
    Command,
    Configure,
    CreateBooking,
    Disarm,
    EndOverflow,
    ExtendBooking,
    ForgetBookings,
    JoinZones,
    LetGo,
    LinkZone,
    NoteTold,
    RecallScene,
    RecordCheck,
    Recover,
    RemoveScene,
    ReportControl,
    ReportDevice,
    ReportOverride,
    ReportWall,
    RunRoutine,
    SaveScene,
    StartOverflow,
    StopMotion,
    TickMove,
    Unlink,
    Wake,
)
from roomlink.core.configure import configure, recover
from roomlink.core.events import Answered, ControlSet, Event, OverflowSet
from roomlink.core.records import Control, Motion
from roomlink.core.spec import MotionSpec
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused


@dataclass(frozen=True, slots=True)
class Request:
    """An Idempotency-Key with a digest of what it was sent with; ``seq`` is that of the entry to be."""

    key: str
    digest: str
    seq: int


@dataclass(frozen=True, slots=True)
class Decision:
    """The events, in order, and the reply; that of a request carried out before is the reply it had then."""

    events: tuple[Event, ...]
    reply: Mapping[str, Any]


def decide(state: State, command: Command, now: float, request: Request | None = None) -> Decision:
    """Decide ``command`` at the stamp ``now``, which must not lie before the stamp of any earlier entry.

    The caller makes the events durable, then folds them with ``apply``. Raises ``CallerFault`` with nothing decided.
    """
    if request is not None and (before := state.answers.get(request.key)) is not None:
        digest, reply = before
        if digest != request.digest:
            text = "this Idempotency-Key was used for another request; choose a new key for a new request"
            raise BadValue("Idempotency-Key", text)
        return Decision((), reply)
    draft = Draft(state, now)
    reply = _DECIDE[type(command)](draft, command)
    reference.note_use(draft, command, reply.get("zones", ()))
    occupancy.follow(draft)
    overflows.end_with_bookings(draft)
    fences.follow(draft)
    evening.follow(draft, command, reply.get("zones", ()))
    alarms.suppress(draft)
    if request is not None:
        draft.emit(Answered(request.key, request.digest, {"seq": request.seq, **reply}))
    return Decision(tuple(draft.events), reply)


def next_deadline(state: State) -> float | None:
    """The stamp at which the core wants a ``Wake``; None while nothing will happen by itself."""
    return state.deadlines.first()


_UNSAID = frozenset({"by", "data", "given", "wish", "starts", "secret", "session"})
"""Members that are not told: they are large, or (what a booking says) private, or open something."""


def describe(command: Command) -> dict[str, Any]:
    """A command in short, as plain data, for the journal's ``did``."""
    kind: Any = type(command)
    said: dict[str, Any] = {"command": kind.__name__}
    for name, default in _said_of(kind):
        value = getattr(command, name)
        if value is None or (default is not MISSING and value == default):
            continue
        said[name] = list(value) if isinstance(value, tuple) else value
    return said


@cache
def _said_of(kind: type[Any]) -> tuple[tuple[str, Any], ...]:
    """Members that are told, with their defaults."""
    return tuple((f.name, f.default) for f in fields(kind) if f.name not in _UNSAID)


def _link(draft: Draft, command: LinkZone) -> dict[str, Any]:
    require("controller", command.controller, draft.spec.controllers)
    require("zone", command.zone, draft.spec.zones)
    require_unlocked(draft, command.controller)
    spec = draft.spec.controllers[command.controller]
    if spec.reach is not None and command.zone not in (*spec.reach, spec.home):
        text = f"{command.zone} is out of the reach of {command.controller}, which may link {', '.join(spec.reach)}"
        raise Refused("out-of-reach", text, allowed=list(spec.reach))
    occupancy.require_not_reserved(draft, command.controller, command.zone)
    anew = (command.controller, command.zone) not in draft.links
    links.link(draft, command.controller, command.zone, "hand")
    if anew:
        leading.mirror(draft, command.controller, command.zone)
    return {"zones": list(draft.linked.get(command.controller, ()))}


def _unlink(draft: Draft, command: Unlink) -> dict[str, Any]:
    require("controller", command.controller, draft.spec.controllers)
    # A locked controller may unlink: that lets go, and reaches less than before.
    linked = draft.linked.get(command.controller, ())
    if command.zone is not None:
        require("zone", command.zone, draft.spec.zones)
        linked = tuple(zone for zone in linked if zone == command.zone)
    for zone in linked:
        links.unlink(draft, command.controller, zone, "unlinked by hand")
        leading.mirror(draft, command.controller, zone)
    return {"zones": list(linked)}


def _let_go(draft: Draft, command: LetGo) -> dict[str, Any]:
    zones: dict[str, None] = {}
    for hold in list(draft.holds.live()):
        if draft.holds[hold].holder == command.holder:
            zones.update(dict.fromkeys(draft.holds[hold].zones))
            orders.let_go(draft, hold, command.as_of, command.why)
    return {"zones": list(zones)}


def _join(draft: Draft, command: JoinZones) -> dict[str, Any]:
    old = draft.overflows.get(command.overflow, ())
    for zone in command.zones:
        require("zone", zone, draft.spec.zones)
    zones = tuple(dict.fromkeys(command.zones))
    if len(zones) == 1:
        raise BadValue("zones", "an overflow joins at least two zones", minimum=2)
    if command.overflow in draft.one_ways:
        text = f"{command.overflow} is an overflow that goes one way: end it first, or take another name"
        raise Refused("taken", text, overflow=command.overflow)
    if zones != old:
        draft.emit(OverflowSet(command.overflow, zones))
        combining.regroup(draft, (*old, *zones))
    return {"zones": list(zones)}


def _wake(draft: Draft, command: Wake) -> dict[str, Any]:
    """First what runs its course, then all walls with one regrouping, then the diary, which goes by the groups."""
    due = draft.beneath.deadlines.due(draft.now)
    for what, *name in due:
        if what == "control":
            zone, control = name
            record = draft.controls.get((zone, control))
            became = None if record is None else _matured(draft, zone, control, record)
            if became is not None:
                draft.emit(ControlSet(zone, control, became))
            if isinstance(became, Motion) and became.running is None:
                # Whoever still holds it is to know that it runs no more.
                orders.end_holds(draft, zone, control, became.by)
        elif what == "hold":
            hold = draft.holds.get(name[0])
            if hold is not None:
                orders.let_go(draft, name[0], hold.until or draft.now, "its time was over")
    combining.regroup(draft, [z for what, *name in due if what in _OF_WALLS for z in _wake_wall(draft, what, name[0])])
    for what, *name in due:
        if what == "booking":
            occupancy.due(draft, *name)
        elif what == "lock":
            locking.due(draft, name[0])
        elif what in ("session", "key"):
            people.due(draft, what, *name)
        elif what in alarms.DEADLINES:
            alarms.due(draft, what, *name)
        elif what in evening.DUE:
            evening.DUE[what](draft, *name)
    return {"zones": []}


def _matured(draft: Draft, zone: str, control: str, record: Control) -> Control | None:
    spec = draft.spec.zones[zone].controls[control]
    if isinstance(record, Motion) and isinstance(spec, MotionSpec):
        return motion.matured(record, spec, draft.now)
    return orders.matured(record, draft.now)


_OF_WALLS = ("settle", "pin", "late")
"""Deadlines of walls."""


def _wake_wall(draft: Draft, what: str, name: str) -> tuple[str, ...]:
    """Gives the zones to regroup around."""
    wall = draft.walls[name]
    spec = draft.spec.partitions[name]
    if what == "settle" and wall.due is not None and wall.due <= draft.now:
        return walls.put(draft, name, walls.counted(spec, wall, draft.now))
    if what == "pin" and wall.pinned_until is not None and wall.pinned_until <= draft.now:
        return walls.put(draft, name, walls.unpinned(spec, wall, draft.now))
    if what == "late" and wall.late is not None and wall.late <= draft.now:
        walls.overdue(draft, name)
    return ()


_DECIDE: dict[type[Any], Callable[[Draft, Any], dict[str, Any]]] = {
    Act: act,
    LinkZone: _link,
    Unlink: _unlink,
    LetGo: _let_go,
    ReportWall: walls.report,
    JoinZones: _join,
    StartOverflow: overflows.start,
    EndOverflow: overflows.end,
    AssignMicrophone: radio.assign,
    RecallScene: scenes.recall,
    SaveScene: scenes.save,
    RemoveScene: scenes.remove,
    ReportOverride: overrides.report,
    ReportControl: devices.report_control,
    ReportDevice: devices.report_device,
    Arm: devices.arm,
    Disarm: devices.disarm,
    RecordCheck: commissioning.record_check,
    StopMotion: devices.stop_motion,
    NoteTold: outside.note_told,
    CreateBooking: diary.create,
    ChangeBooking: diary.change,
    CancelBooking: diary.cancel,
    ChangeOccurrence: diary.change_one,
    ExtendBooking: diary.extend,
    ForgetBookings: diary.forget,
    TickMove: turns.tick,
    RunRoutine: occupancy.run_routine,
    **arrangements.DECIDE,
    **locking.DECIDE,
    **leads.DECIDE,
    **people.DECIDE,
    **evening.DECIDE,
    **alarms.DECIDE,
    Configure: configure,
    Recover: recover,
    Wake: _wake,
}
