"""What is wanted at devices' points, as functions of time. Pure."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from roomlink.core import alarm_view, microphones, paging, wall_view
from roomlink.core import events as ev
from roomlink.core.alarm_events import AlarmEvent
from roomlink.core.evening_records import PagingEnded, PagingStarted
from roomlink.core.records import Level, Motion
from roomlink.core.spec import LevelSpec
from roomlink.core.state import State
from roomlink.core.travel_events import MicrophoneAssigned, OneWayEnded, OneWaySet
from roomlink.drivers.outbox import Sample
from roomlink.drivers.port import Value
from roomlink.limits import LEVEL_EPSILON
from roomlink.runtime.wiring import Binding, SoundOutput, Wired
from roomlink.venue import sound_plan


def planned(plans: Iterable[sound_plan.GroupPlan], output: SoundOutput) -> float | None:
    """What the sound plan says for one point; None where it says nothing: no microphone is open there,
    or there are no such loudspeakers in the configuration that is just about to count.
    """
    for plan in plans:
        if output.microphone is None and output.loudspeakers in plan.delays:
            return round(plan.delays[output.loudspeakers], 3)
        gain = plan.gains.get(output.microphone or "", {}).get(output.loudspeakers)
        if gain is not None:
            return output.off if gain == sound_plan.OFF else round(float(gain), 2)
    return None


_TOLD_BY = (
    ev.Regrouped,
    ev.OverrideSet,
    ev.OverrideCleared,
    AlarmEvent,
    OneWaySet,
    OneWayEnded,
    MicrophoneAssigned,
)


def is_told(state: State, event: ev.Event) -> bool:
    """Whether an event changes what ``told`` says."""
    mutes = isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked) and event.control in state.spec.travel.mutes
    return mutes or isinstance(event, _TOLD_BY)


def sound_plans(state: State) -> list[sound_plan.GroupPlan]:
    """The sound plan of now: of the groups as they are, with the microphones that are really heard."""
    places = {name: microphones.zone_of(state, name) for name in state.spec.travel.microphones}
    return sound_plan.plan_heard(state.spec.data, wall_view.groups(state), places, microphones.heard(state))


def told(state: State, devices: Iterable[Wired]) -> Iterator[tuple[str, str, Value]]:
    """(device, point, value) of what is not a control's: the sound plan as the groups are now, and all alarms."""
    plans: list[sound_plan.GroupPlan] | None = None
    for wired in devices:
        if wired.sound and plans is None:
            plans = sound_plans(state)
        for output in wired.sound:
            value = planned(plans or (), output)
            if value is not None:
                yield wired.name, output.point, value
        if wired.alarms is not None:
            yield wired.name, wired.alarms, json.dumps(alarm_view.document(state), ensure_ascii=False)


def mapped(binding: Binding, sample: Sample) -> Sample:
    """A control's value over time as the device takes it."""
    out = binding.scaling.out
    return lambda t: out(sample(t))


def level(state: State, binding: Binding, record: Level) -> Sample:
    """A level over time as its device takes it: lower while somebody pages."""
    by = paging.ducked(state, binding.zone, binding.control)
    if by == 0.0:
        return mapped(binding, record.at)
    spec = state.spec.zones[binding.zone].controls[binding.control]
    assert isinstance(spec, LevelSpec)
    lowest = spec.lo
    return mapped(binding, lambda t: max(lowest, record.at(t) - by))


def muted(binding: Binding, value: Value, until: float) -> Sample:
    """What is no level: ``value``, but for a mute that is on ``until`` a stamp whatever it shall be."""
    own, quiet = binding.scaling.out(value), binding.scaling.out(True) if binding.hushes else None
    return (lambda t: own if t >= until else quiet) if binding.hushes else (lambda t: own)


def touched(state: State, event: ev.Event) -> Iterator[tuple[str, str]]:
    """(zone, control) of the outputs that an event changes."""
    if isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked):
        yield event.zone, event.control
    elif isinstance(event, PagingStarted | PagingEnded):
        yield from paging.covered(state, event.paging)


def constant(value: Value) -> Sample:
    return lambda t: value


def now_wanted(state: State, binding: Binding, now: float) -> Value:
    """What a signal's device shall have now, whether or not it can be reached."""
    mask = state.masks.get((binding.zone, binding.control))
    record = state.controls.get((binding.zone, binding.control))
    if mask is not None:
        return binding.scaling.out(mask.value)
    if record is None or isinstance(record, Motion):
        return None
    if isinstance(record, Level):
        return level(state, binding, record)(now)
    return binding.scaling.out(record.value)


def own(state: State, binding: Binding) -> bool:
    """Whether a control's output is the control's own: no override masks it, and no paging lowers it."""
    masked = (binding.zone, binding.control) in state.masks
    return not masked and paging.ducked(state, binding.zone, binding.control) == 0.0


def is_so(state: State, binding: Binding, value: Value, now: float) -> bool:
    """Whether a control is what its device says that it was turned to; within its tolerance, if it is a level."""
    record = state.controls.get((binding.zone, binding.control))
    if record is None:
        return True  # it is no longer configured
    if isinstance(record, Level):
        level = state.spec.zones[binding.zone].controls[binding.control]
        assert isinstance(level, LevelSpec)
        return isinstance(value, float) and abs(record.at(now) - value) <= level.tolerance + LEVEL_EPSILON
    return not isinstance(record, Motion) and record.value == value


def waiting(state: State, bindings: Iterable[Binding], now: float) -> dict[str, Any]:
    """Points that are driven once their device is there or armed, as ``Runner.snapshot`` shows others."""
    return {
        point: {
            "wanted": now_wanted(state, binding, now) if binding.cls == "signal" else None,
            "sent": None,
            "reported": None,
            "confirmed": False,
            "fault": None,
        }
        for binding in bindings
        for point in binding.points.values()
    }
