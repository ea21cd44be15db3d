"""Acting on controls, through a controller or on one zone: what is asked is checked first, then ordered.

What may be done with which kind of control is the table ``DO``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from roomlink import limits
from roomlink.core import links, locks, microphones, motion, orders, sources
from roomlink.core.checks import checked, require, require_no_override, require_unlocked, seconds, standing_over
from roomlink.core.commands import Act
from roomlink.core.records import Hold, Level, Motion
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, MotionSpec, Value
from roomlink.core.state import Draft
from roomlink.errors import BadValue, Refused

Reply = dict[str, Any]


def act(draft: Draft, command: Act) -> Reply:
    """Carry out an action. The reply's ``zones`` are those that act."""
    if command.zone is not None:
        return _act_on_zone(draft, command, command.zone)
    assert command.controller is not None
    return _act_through(draft, command, command.controller)


DO: dict[str, tuple[str, ...]] = {
    "choice": ("set", "align"),
    "level": ("set", "step", "raise", "lower", "stop", "align"),
    "switch": ("set", "toggle", "align"),
    "momentary": ("press", "release"),
    "motion": ("open", "close", "stop"),
}
"""What may be done with which kind of control."""

HELD = ("press", "raise", "lower", "open", "close")
"""What lasts only while somebody holds it; a motion may be configured to run without."""

SAFE = ("release", "stop")
"""What is never refused: nothing stands in the way towards safe."""


def needs_holding(spec: ControlSpec, do: str) -> bool:
    """Whether this lasts only while somebody holds it."""
    return do in HELD and (not isinstance(spec, MotionSpec) or spec.hold)


def _check_do(command: Act, spec: ControlSpec) -> None:
    allowed = DO[spec.kind]
    if command.do not in allowed:
        text = f"{command.do!r} is not something to do with {command.control}, a {spec.kind}: {', '.join(allowed)}"
        raise BadValue("do", text, allowed=list(allowed))
    seconds("over", command.over, limits.OVER_S_MAX)
    if command.do == "step" and isinstance(spec, LevelSpec):
        _check_step(command, spec)
    if needs_holding(spec, command.do) and command.by.holder is None and command.for_s is None:
        text = f"{command.do} must carry `for`, at most {limits.HELD_OVER_HTTP_S_MAX:g} seconds: no finger can be seen"
        raise Refused("needs-for", text, field="for", maximum=limits.HELD_OVER_HTTP_S_MAX)
    if command.for_s is not None:
        seconds("for", command.for_s, limits.HELD_OVER_HTTP_S_MAX)


def _check_step(command: Act, spec: LevelSpec) -> None:
    most = spec.hi - spec.lo
    if isinstance(command.value, bool) or not isinstance(command.value, int | float) or not abs(command.value) <= most:
        allowed = f"{command.control} steps by a number from {-most:g} to {most:g} {spec.unit}"
        text = f"{command.value!r} is no step: {allowed}"
        raise BadValue("value", text, minimum=-most, maximum=most)


def _holder(command: Act) -> str:
    """Who holds: a socket, which can show that a finger is still there, or the client itself."""
    return command.by.holder or command.by.who


def _surface_hold(command: Act) -> str:
    kind, surface = ("zone", command.zone) if command.controller is None else ("controller", command.controller)
    return orders.hold_name(_holder(command), kind, surface or "", command.control)


def _hold(draft: Draft, command: Act, zones: list[str], base: tuple[tuple[str, float], ...] = ()) -> None:
    until = None if command.for_s is None else draft.now + command.for_s
    record = Hold(
        _holder(command),
        command.controller,
        command.control,
        command.do,
        tuple(zones),
        draft.now,
        until,
        base,
        command.by.who,
    )
    orders.begin_hold(draft, _surface_hold(command), record, by=command.controller or command.by.who)


def _act_on_zone(draft: Draft, command: Act, zone: str) -> Reply:
    require("zone", zone, draft.spec.zones)
    controls = draft.spec.zones[zone].controls
    require("control", command.control, controls)
    spec = controls[command.control]
    _check_do(command, spec)
    _require_here(draft, zone, command.control)
    by = command.by.who
    if command.do not in SAFE:
        require_no_override(draft, [zone])
        locks.require_free(draft, [zone], command.control)
    if command.do == "align":
        raise BadValue("do", "align is for controllers: one zone always agrees with itself", allowed=["set"])
    if command.do == "set":
        options = sources.offered(draft, zone, command.control) if isinstance(spec, ChoiceSpec) else None
        value = checked(command.control, spec, command.value, options)
        orders.set_value(draft, zone, command.control, value, over=command.over, by=by)
        return _set([zone], links.clamped(draft, [zone], command.control, value))
    if command.do in ("step", "toggle"):
        _change(draft, zone, command, by)
    elif needs_holding(spec, command.do):
        _hold(draft, command, [zone])
    elif command.do in motion.DIRECTIONS:
        orders.end_holds(draft, zone, command.control, f"a newer order from {by}")
        motion.start(draft, zone, command.control, command.do, by=by)
    else:
        hold = _surface_hold(command)
        if draft.holds.get(hold) is not None:
            orders.let_go(draft, hold, draft.now, "released")
        elif command.do == "stop":
            _stop(draft, zone, command.control, by)
    return {"zones": [zone]}


def _require_here(draft: Draft, zone: str, control: str) -> None:
    """Raise for a control of a radio microphone that is in another zone."""
    if not microphones.here(draft, zone, control):
        microphone = draft.spec.travel.roaming[control]
        there = microphones.zone_of(draft, microphone)
        text = f"{microphone} is in {there}: act on {control} there, or assign {microphone} to {zone} first"
        raise Refused("elsewhere", text, zone=there, microphone=microphone)


def _set(zones: list[str], clamped: dict[str, float]) -> Reply:
    """The reply to what sets a level: where a ceiling keeps it lower, at what."""
    return {"zones": zones, "clamped": clamped} if clamped else {"zones": zones}


def _stop(draft: Draft, zone: str, control: str, by: str) -> None:
    """Stop a level or a motion where it is, whoever moves it. A level that a lock keeps goes where it was going."""
    motion_too = isinstance(draft.spec.zones[zone].controls[control], MotionSpec)
    if not motion_too and locks.covering(draft, zone, control) is not None:
        return
    orders.end_holds(draft, zone, control, f"stopped by {by}")
    if motion_too:
        motion.stop(draft, zone, control, by=by)
    else:
        orders.stop_level(draft, zone, control, at=draft.now, by=by)


def _act_through(draft: Draft, command: Act, controller: str) -> Reply:
    require("controller", controller, draft.spec.controllers)
    controls = links.controls_of(draft, controller)
    if command.do in SAFE:
        return _let_through(draft, command, controller, controls)
    require("control", command.control, controls)
    spec = controls[command.control]
    _check_do(command, spec)
    require_unlocked(draft, controller)
    locks.require_key(draft, controller, command.control)
    zones = list(links.reached(draft, controller, command.control, spec))
    if not zones:
        linked = draft.linked.get(controller, ())
        why = f"none of its linked zones has {command.control}" if linked else "it is linked to no zone"
        raise Refused(
            "nothing-linked", f"{controller} reaches nothing: {why}; link a zone first", controller=controller
        )
    free = [zone for zone in zones if standing_over(draft, zone) is None]
    if not free:
        require_no_override(draft, zones)
    able = locks.free(draft, free, command.control)
    if not able:
        locks.require_free(draft, free, command.control)
    reply = _THROUGH[command.do](draft, command, controller, spec, able)
    if len(free) != len(zones):
        reply = {**reply, "overridden": [z for z in zones if z not in free]}
    return reply if len(able) == len(free) else {**reply, "locked": [z for z in free if z not in able]}


def _let_through(draft: Draft, command: Act, controller: str, controls: Mapping[str, ControlSpec]) -> Reply:
    """Release or stop. Nothing stands in the way: no lock, no override, and no link that is missing.

    Stop reaches what runs or is held by this controller wherever that is, and what else runs in its linked zones. From
    a locked controller that is for motion alone: a level that somebody else moves is his.
    """
    control, hold = command.control, _surface_hold(command)
    held = draft.holds.get(hold)
    running = list(held.zones) if held is not None else _run_by(draft, controller, control)
    if control not in controls and running:
        controls = draft.spec.zones[running[0]].controls
    require("control", control, controls)
    spec = controls[control]
    _check_do(command, spec)
    if held is not None:
        orders.let_go(draft, hold, draft.now, "released")
        _remember_shown(draft, controller, control, spec)
        return {"zones": running}
    if command.do == "release":
        # Nothing of this holder's is held (any more): releasing twice is no fault.
        return {"zones": []}
    role = draft.roles.get(controller)
    locked = (role is not None and role.locked is not None) or locks.of_controller(draft, controller, control)
    if not locked or isinstance(spec, MotionSpec):
        running += [z for z in links.reached(draft, controller, control, spec) if z not in running]
    for zone in running:
        _stop(draft, zone, control, controller)
    return {"zones": running}


def _run_by(draft: Draft, controller: str, control: str) -> list[str]:
    """The zones where a level or a motion runs by ``controller``, held or not, linked or not."""
    found: list[str] = []
    # Whatever runs is awaited: this looks at what moves, never at the whole venue.
    for what, *key in draft.beneath.deadlines.standing():
        if what == "control" and key[1] == control:
            record = draft.controls[key[0], control]
            if isinstance(record, Level | Motion) and record.by == controller:
                found.append(key[0])
    return found


def _set_through(draft: Draft, command: Act, controller: str, spec: ControlSpec, zones: list[str]) -> Reply:
    home = draft.spec.controllers[controller].home
    if isinstance(spec, LevelSpec):
        value = checked(command.control, spec, command.value)
        assert isinstance(value, float)
        acting, waiting = links.set_levels(draft, controller, command.control, spec, value, command.over, zones)
        reply = _set(acting, links.clamped(draft, acting, command.control, value, controller))
        return {**reply, "waiting": waiting} if waiting else reply
    if not isinstance(spec, ChoiceSpec):
        value = checked(command.control, spec, command.value)
        for zone in zones:
            orders.set_value(draft, zone, command.control, value, over=command.over, by=controller)
        return {"zones": zones}
    acting = _choose(draft, command.control, home, spec, command.value, zones, controller)
    return {"zones": acting}


def _choose(
    draft: Draft, control: str, home: str, spec: ChoiceSpec, value: Value, zones: list[str], by: str
) -> list[str]:
    """Choose an option, named as at ``home``, in every zone that offers it."""
    option = None if value == "none" else value
    takers: list[tuple[str, str | None]] = []
    on_offer: dict[str, None] = {}
    for zone in zones:
        theirs = draft.spec.zones[zone].controls[control]
        assert isinstance(theirs, ChoiceSpec)
        offered = sources.offered(draft, zone, control)
        on_offer.update((sources.seen_from(draft, home, zone, o, theirs) or "", None) for o in offered)
        if option is None and theirs.allow_none:
            takers.append((zone, None))
        elif isinstance(option, str) and (here := sources.for_zone(draft, home, zone, option, theirs)) in offered:
            takers.append((zone, here))
    if not takers:
        checked(control, spec, value, tuple(on_offer))
        raise BadValue("value", f"{value!r} is not allowed in any linked zone", allowed=list(on_offer))
    for zone, here in takers:
        orders.set_choice(draft, zone, control, here, by=by)
    return [zone for zone, _ in takers]


def _hold_through(draft: Draft, command: Act, controller: str, spec: ControlSpec, zones: list[str]) -> Reply:
    base: tuple[tuple[str, float], ...] = ()
    if isinstance(spec, LevelSpec) and draft.spec.controllers[controller].level_mode == "offset":
        for zone in zones:
            orders.end_holds(draft, zone, command.control, f"a newer order from {controller}")
        base = tuple((zone, links.free_value(draft, controller, zone, command.control)) for zone in zones)
    _hold(draft, command, zones, base)
    return {"zones": zones}


def _move_through(draft: Draft, command: Act, controller: str, spec: ControlSpec, zones: list[str]) -> Reply:
    if needs_holding(spec, command.do):
        return _hold_through(draft, command, controller, spec, zones)
    for zone in zones:
        orders.end_holds(draft, zone, command.control, f"a newer order from {controller}")
        motion.start(draft, zone, command.control, command.do, by=controller)
    return {"zones": zones}


def _align_through(draft: Draft, command: Act, controller: str, spec: ControlSpec, zones: list[str]) -> Reply:
    value = command.value
    if not command.given:
        seen = links.shown(draft, controller, command.control, spec, draft.now)
        if not seen.decided:
            text = f"the linked zones disagree on {command.control} and no value is shown: give one with `value`"
            raise Refused("undecided", text, field="value", outliers=list(seen.outliers))
        value = seen.value
    if isinstance(spec, ChoiceSpec):
        home = draft.spec.controllers[controller].home
        return {"zones": _choose(draft, command.control, home, spec, value, zones, controller)}
    value = checked(command.control, spec, value)
    for zone in zones:
        orders.set_value(draft, zone, command.control, value, over=command.over, by=controller)
        links.end_pickup(draft, controller, zone, command.control)
    if isinstance(value, float) and isinstance(spec, LevelSpec):
        links.remember_hand(draft, controller, command.control, value)
    return _set(zones, links.clamped(draft, zones, command.control, value))


def _change_through(draft: Draft, command: Act, controller: str, spec: ControlSpec, zones: list[str]) -> Reply:
    """Step a level from each zone's own value, clamped; toggle a switch to the other of what is shown."""
    if isinstance(spec, LevelSpec):
        assert isinstance(command.value, int | float)
        for zone in zones:
            links.step(draft, controller, zone, command.control, float(command.value), command.over)
        _remember_shown(draft, controller, command.control, spec)
        return {"zones": zones}
    seen = links.shown(draft, controller, command.control, spec, draft.now)
    # Where the zones disagree all become on.
    value = not (seen.decided and seen.value is True)
    for zone in zones:
        orders.set_switch(draft, zone, command.control, value, by=controller)
    return {"zones": zones}


def _change(draft: Draft, zone: str, command: Act, by: str) -> None:
    """Step or toggle in one zone."""
    record = draft.controls[zone, command.control]
    if isinstance(record, Level):
        assert isinstance(command.value, int | float)
        value = record.at(draft.now) + command.value
        orders.set_level(draft, zone, command.control, value, over=command.over, by=by)
    else:
        orders.set_switch(draft, zone, command.control, not orders.wanted(record, draft.now), by=by)


def _remember_shown(draft: Draft, controller: str, control: str, spec: ControlSpec) -> None:
    """After raise or lower the level stands where the hand left it: what is shown, else the zone linked last."""
    if not isinstance(spec, LevelSpec):
        return
    seen = links.shown(draft, controller, control, spec, draft.now)
    if isinstance(seen.value, float):
        links.remember_hand(draft, controller, control, seen.value)
        return
    zones = list(links.reached(draft, controller, control, spec))
    record = draft.controls.get((zones[-1], control)) if zones else None
    if isinstance(record, Level):
        links.remember_hand(draft, controller, control, record.at(draft.now))


_THROUGH: dict[str, Callable[[Draft, Act, str, ControlSpec, list[str]], Reply]] = {
    "set": _set_through,
    "press": _hold_through,
    "raise": _hold_through,
    "lower": _hold_through,
    "open": _move_through,
    "close": _move_through,
    "align": _align_through,
    "step": _change_through,
    "toggle": _change_through,
}
