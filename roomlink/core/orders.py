"""Orders to one control of one zone, and holds on it. All write to a draft; none refuses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from roomlink.core import microphones, motion
from roomlink.core.events import ControlSet, HoldBegan, HoldEnded, LinkSet
from roomlink.core.records import Choice, Control, Hold, Level, Link, Momentary, Motion, Switch
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, MotionSpec, SwitchSpec, Value
from roomlink.core.state import Draft, State


def start_record(spec: ControlSpec) -> Control:
    """What a control is before anything happened to it."""
    if isinstance(spec, LevelSpec):
        value = spec.clamp(spec.start)
        return Level(value, value, by="start")
    if isinstance(spec, ChoiceSpec):
        return Choice(spec.start, by="start")
    if isinstance(spec, SwitchSpec):
        return Switch(spec.start, by="start")
    return Motion(by="start") if isinstance(spec, MotionSpec) else Momentary(by="start")


def wanted(record: Control, now: float, *, held: bool = False) -> Value:
    """What a control is on its way to, or is: the value to remember it by. A held level counts where it is."""
    if isinstance(record, Level):
        return record.at(now) if held else record.to
    if isinstance(record, Momentary | Motion):
        return None
    return record.value if record.pending is None else record.pending


def wanted_now(draft: Draft, zone: str, control: str) -> Value:
    """What to remember a zone's control by, as the draft has it: for scenes, and for zones that stood alone."""
    return wanted(draft.controls[zone, control], draft.now, held=is_held(draft, zone, control))


def set_level(
    draft: Draft, zone: str, control: str, value: float, *, over: float, by: str, shifted_by: str | None = None
) -> None:
    """Go to ``value`` (clamped to what the zone allows) in ``over`` seconds from where the level is now.

    Ends every hold on the level, and every difference kept for it, but that of the controller ``shifted_by``.
    """
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, LevelSpec)
    assert isinstance(record, Level)
    end_holds(draft, zone, control, f"a newer order from {by}")
    forget_excess(draft, zone, control, but=shifted_by)
    here = record.at(draft.now)
    target = spec.clamp(value)
    if here == target and (record.arrival is None or record.to == here):
        return
    moves = over > 0.0 and here != target
    now = Level(here, target, draft.now, over, by) if moves else Level(target, target, draft.now, 0.0, by)
    draft.emit(ControlSet(zone, control, now))


def stop_level(draft: Draft, zone: str, control: str, *, at: float, by: str) -> None:
    """Stop where the level is at ``at``, if it moves."""
    record = draft.controls[zone, control]
    assert isinstance(record, Level)
    if record.arrival is not None and record.at(at) != record.to:
        here = record.at(at)
        draft.emit(ControlSet(zone, control, Level(here, here, at, 0.0, by)))


def set_choice(draft: Draft, zone: str, control: str, option: str | None, *, by: str) -> None:
    """Break before make: what is on goes off now, ``option`` goes on once the gap has passed."""
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, ChoiceSpec)
    assert isinstance(record, Choice)
    if option == wanted(record, draft.now):
        return
    free = draft.now + spec.gap if record.value is not None else record.free
    if option is None:
        now = Choice(None, free=free, by=by)
    elif free <= draft.now:
        now = Choice(option, free=free, by=by)
    else:
        now = Choice(None, option, free, free, by)
    draft.emit(ControlSet(zone, control, now))


def set_switch(draft: Draft, zone: str, control: str, value: bool, *, by: str) -> None:
    """Switch now, or as soon as ``min_on`` or ``min_off`` allows; a newer order replaces one that waits.

    A radio microphone is opened in its own zone alone.
    """
    if not value and not microphones.here(draft, zone, control):
        return
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, SwitchSpec)
    assert isinstance(record, Switch)
    if value == wanted(record, draft.now):
        return
    ready = record.since + (spec.min_on if record.value else spec.min_off)
    if value == record.value:
        now = replace(record, pending=None, due=None, by=by)
    elif draft.now >= ready:
        now = Switch(value, draft.now, by=by)
    else:
        now = replace(record, pending=value, due=ready, by=by)
    draft.emit(ControlSet(zone, control, now))


def set_value(draft: Draft, zone: str, control: str, value: Value, *, over: float, by: str) -> None:
    """Order any kind of control that can be set; a momentary cannot, and stays."""
    spec = draft.spec.zones[zone].controls[control]
    if isinstance(spec, LevelSpec):
        assert isinstance(value, int | float)
        set_level(draft, zone, control, float(value), over=over, by=by)
    elif isinstance(spec, ChoiceSpec):
        assert value is None or isinstance(value, str)
        set_choice(draft, zone, control, value, by=by)
    elif isinstance(spec, SwitchSpec):
        set_switch(draft, zone, control, bool(value), by=by)


def fits(spec: ControlSpec, value: Value) -> bool:
    """Whether a value kept from earlier is of the control's kind, which a newer configuration may have changed."""
    if isinstance(spec, LevelSpec):
        return isinstance(value, int | float) and not isinstance(value, bool)
    if isinstance(spec, ChoiceSpec):
        return value is None or isinstance(value, str)
    return isinstance(spec, SwitchSpec) and isinstance(value, bool)


def matured(record: Control, now: float) -> Control | None:
    """What a record that was due at ``now`` becomes: arrived, made or switched; None if it is not due."""
    if isinstance(record, Level):
        if record.arrival is None or record.arrival > now:
            return None
        return Level(record.to, record.to, record.arrival, 0.0, record.by)
    if isinstance(record, Momentary | Motion) or record.due is None or record.due > now:
        return None
    if isinstance(record, Choice):
        return Choice(record.pending, free=record.free, by=record.by)
    return Switch(bool(record.pending), record.due, by=record.by)


# Holds


def hold_name(holder: str, kind: str, surface: str, control: str) -> str:
    """The name of what ``holder`` holds: one hold for each control of a surface.

    ``kind`` is ``controller`` or ``zone``: the two may have the same name.
    """
    return f"{holder}/{kind}/{surface}/{control}"


def begin_hold(draft: Draft, hold: str, record: Hold, *, by: str) -> None:
    """Hold. On a level the newer order ends older holds; on a momentary holds add up."""
    if draft.holds.get(hold) is not None:
        let_go(draft, hold, draft.now, "held anew")
    for zone in record.zones:
        if record.do != "press":
            end_holds(draft, zone, record.control, f"a newer order from {by}")
    draft.emit(HoldBegan(hold, record))
    if record.do == "press":
        for zone in record.zones:
            if not _is_on(draft, zone, record.control):
                draft.emit(ControlSet(zone, record.control, Momentary(True, by)))
        return
    for zone in record.zones:
        if record.do in motion.DIRECTIONS:
            motion.start(draft, zone, record.control, record.do, by=by)
        else:
            _run(draft, record, zone, by)


def _is_on(draft: Draft, zone: str, control: str) -> bool:
    record = draft.controls[zone, control]
    return isinstance(record, Momentary) and record.value


def _run(draft: Draft, hold: Hold, zone: str, by: str) -> None:
    """Raise or lower at the constant rate. A zone whose base lies outside the range starts when that re-enters."""
    control = hold.control
    base = dict(hold.base).get(zone)
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, LevelSpec)
    assert isinstance(record, Level)
    here = record.at(draft.now)
    end, sign = (spec.top, 1.0) if hold.do == "raise" else (spec.lo, -1.0)
    forget_excess(draft, zone, control, but=hold.controller if hold.base else None)
    wait = 0.0 if base is None else max(0.0, sign * (here - base) / spec.rate)
    distance = sign * (end - here)
    if distance > 0.0:
        moving = Level(here, end, draft.now + wait, distance / spec.rate, by)
        draft.emit(ControlSet(zone, control, moving))
    elif record.arrival is not None:
        draft.emit(ControlSet(zone, control, Level(here, here, draft.now, 0.0, by)))


def let_go(draft: Draft, hold: str, at: float, why: str, zones: Iterable[str] | None = None) -> None:
    """Let ``zones`` (all by default) of a hold go, as of the stamp ``at``: levels stop there, momentaries go off."""
    record = draft.holds.get(hold)
    if record is None:
        return
    gone = record.zones if zones is None else tuple(z for z in zones if z in record.zones)
    if not gone:
        return
    draft.emit(HoldEnded(hold, gone, why))
    by = record.controller or record.who or record.holder
    for zone in gone:
        if (zone, record.control) not in draft.controls:
            continue
        if record.do == "press":
            if not draft.held.get((zone, record.control)) and _is_on(draft, zone, record.control):
                draft.emit(ControlSet(zone, record.control, Momentary(False, by)))
        elif record.do in motion.DIRECTIONS:
            motion.stop(draft, zone, record.control, by=by)
        else:
            stop_level(draft, zone, record.control, at=at, by=by)
            _keep_difference(draft, record, zone, at)


def _keep_difference(draft: Draft, hold: Hold, zone: str, at: float) -> None:
    """After a raise or lower in ``offset``: how far the zone would stand outside its range lives on in the link."""
    bases = dict(hold.base)
    if zone not in bases or hold.controller is None:
        return
    sign = 1.0 if hold.do == "raise" else -1.0
    # A newer configuration may have dropped some of the zones that the hold began with.
    specs = {z: s for z in bases if isinstance(s := _spec_of(draft, z, hold.control), LevelSpec)}
    spec = specs[zone]
    # Once the last zone has reached the end, holding on must not stretch the differences any further.
    longest = max(sign * ((s.top if sign > 0 else s.lo) - bases[z]) / s.rate for z, s in specs.items())
    ran = max(0.0, min(at - hold.start, longest))
    free = bases[zone] + sign * spec.rate * ran
    set_excess(draft, hold.controller, zone, hold.control, free - spec.clamp(free))


def _spec_of(draft: Draft, zone: str, control: str) -> ControlSpec | None:
    return draft.spec.zones[zone].controls.get(control) if zone in draft.spec.zones else None


def end_holds(draft: Draft, zone: str, control: str, why: str) -> None:
    """End every hold on one control of one zone."""
    for hold in draft.held.get((zone, control), ()):
        let_go(draft, hold, draft.now, why, (zone,))


# Differences kept beyond an end of range (``level_mode: offset``)


def excess_of(link: Link, control: str) -> float:
    return dict(link.excess).get(control, 0.0)


def set_excess(draft: Draft, controller: str, zone: str, control: str, value: float) -> None:
    link = draft.links.get((controller, zone))
    if link is None or excess_of(link, control) == value:
        return
    kept = {**dict(link.excess), control: value}
    excess = tuple(sorted((c, v) for c, v in kept.items() if v != 0.0))
    draft.emit(LinkSet(controller, zone, replace(link, excess=excess), last=False))


def forget_excess(draft: Draft, zone: str, control: str, but: str | None = None) -> None:
    for controller in draft.linked_by.get(zone, ()):
        link = draft.links.get((controller, zone))
        if controller != but and link is not None and link.excess:
            set_excess(draft, controller, zone, control, 0.0)


def is_held(state: State, zone: str, control: str) -> bool:
    return bool(state.held.get((zone, control)))
