"""What devices tell, and the arming of those that feed power or motion."""

from __future__ import annotations

from typing import Any

from roomlink.core import alarms, locks, microphones, motion, orders, sources
from roomlink.core.checks import checked, require
from roomlink.core.commands import Arm, Disarm, ReportControl, ReportDevice, StopMotion
from roomlink.core.events import Armed, ControlSet, Disarmed
from roomlink.core.records import Arming, Choice, Level, Switch
from roomlink.core.spec import BindingSpec, ChoiceSpec, LevelSpec, MotionSpec, Spec
from roomlink.core.state import Draft
from roomlink.errors import BadValue, Refused

ARMED_CLASSES = ("power", "motion")
"""Bindings of these classes are driven only once a person has checked them on site."""


def report_control(draft: Draft, command: ReportControl) -> dict[str, Any]:
    """Take what a device says somebody did there by hand. Under a mask the mask goes on counting."""
    zone, control = command.zone, command.control
    require("zone", zone, draft.spec.zones)
    require("control", control, draft.spec.zones[zone].controls)
    spec = draft.spec.zones[zone].controls[control]
    locks.require_free(draft, [zone], control)
    options = sources.offered(draft, zone, control) if isinstance(spec, ChoiceSpec) else None
    value = checked(control, spec, command.value, options)
    if not microphones.here(draft, zone, control):
        return {"zones": []}
    record = draft.controls[zone, control]
    orders.end_holds(draft, zone, control, f"changed at {command.by.who}")
    by = command.by.who
    if isinstance(spec, LevelSpec):
        assert isinstance(value, float)
        # Nothing passes a ceiling, not even a hand at the device: it is driven back to it.
        value = spec.clamp(value)
        assert isinstance(record, Level)
        if abs(record.at(draft.now) - value) > spec.tolerance or record.arrival is not None:
            orders.forget_excess(draft, zone, control)
            draft.emit(ControlSet(zone, control, Level(value, value, draft.now, 0.0, by)))
    elif isinstance(record, Choice) and (value is None or isinstance(value, str)):
        if record.value != value or record.pending is not None:
            draft.emit(ControlSet(zone, control, Choice(value, free=record.free, by=by)))
    elif isinstance(record, Switch) and record.value != value:
        draft.emit(ControlSet(zone, control, Switch(bool(value), draft.now, by=by)))
    return {"zones": [zone]}


def report_device(draft: Draft, command: ReportDevice) -> dict[str, Any]:
    """A device went or came. One alarm while it is gone; motions that it drives stop and stay stopped."""
    require("device", command.device, draft.spec.data.get("devices", {}))
    alarm = f"device-lost/{command.device}"
    zones: dict[str, None] = {}
    if command.up:
        alarms.clear_alarm(draft, alarm)
        return {"zones": []}
    alarms.raise_alarm(draft, alarm, f"{command.device} cannot be reached: {command.why}")
    for binding in draft.spec.bindings:
        if binding.device == command.device and _moves(draft, binding):
            zones[binding.zone] = None
            _stop(draft, binding.zone, binding.control, f"{command.device} was lost")
    return {"zones": list(zones)}


def _moves(draft: Draft, binding: BindingSpec) -> bool:
    zone = draft.spec.zones.get(binding.zone)
    return zone is not None and isinstance(zone.controls.get(binding.control), MotionSpec)


def _stop(draft: Draft, zone: str, control: str, why: str) -> None:
    orders.end_holds(draft, zone, control, why)
    motion.stop(draft, zone, control, by=why)


def stop_motion(draft: Draft, command: StopMotion) -> dict[str, Any]:
    """Stop everything that moves."""
    for zone, spec in draft.spec.zones.items():
        for control, control_spec in spec.controls.items():
            if isinstance(control_spec, MotionSpec):
                _stop(draft, zone, control, command.why)
    return {"zones": list(draft.spec.zones)}


def bindings(spec: Spec) -> dict[str, BindingSpec]:
    return {binding.name: binding for binding in spec.bindings}


def arm(draft: Draft, command: Arm) -> dict[str, Any]:
    """Put down a commissioning record: from now on the binding is driven."""
    known = bindings(draft.spec)
    require("binding", command.binding, known)
    binding = known[command.binding]
    if binding.cls not in ARMED_CLASSES:
        text = f"{command.binding} only carries a signal: it needs no arming"
        raise Refused("needs-no-arming", text, binding=command.binding)
    if not command.who.strip():
        raise BadValue("who", "name the person who checked it on site")
    record = Arming(command.who.strip(), draft.now, binding.digest, command.note.strip())
    # What waits or runs behind a disarmed binding must not start to move or switch because it is armed.
    if _moves(draft, binding):
        _stop(draft, binding.zone, binding.control, "its binding was armed")
    draft.emit(Armed(command.binding, record))
    return {"zones": [binding.zone]}


def disarm(draft: Draft, command: Disarm) -> dict[str, Any]:
    known = bindings(draft.spec)
    require("binding", command.binding, known)
    binding = known[command.binding]
    if command.binding in draft.armed:
        if _moves(draft, binding):
            _stop(draft, binding.zone, binding.control, "its binding was disarmed")
        draft.emit(Disarmed(command.binding, command.why or f"disarmed by {command.by.who}"))
    return {"zones": [binding.zone]}


def disarm_changed(draft: Draft, old: Spec) -> None:
    """A binding that is not as it was checked is disarmed; called once a new configuration counts, ``old`` no more.

    What it drove stops, and what it would drive now does not run: also where the binding is gone.
    """
    before, known = bindings(old), bindings(draft.spec)
    for name in list(draft.armed.live()):
        binding = known.get(name)
        if binding is None or binding.digest != draft.armed[name].digest or binding.cls not in ARMED_CLASSES:
            for driven in (before.get(name), binding):
                if driven is not None and _moves(draft, driven):
                    _stop(draft, driven.zone, driven.control, "its binding was disarmed")
            draft.emit(Disarmed(name, "its configuration changed since it was checked"))
