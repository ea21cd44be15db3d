"""What is wanted at devices' points, as functions of time. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core.records import Level, Motion
from roomlink.core.state import State
from roomlink.drivers.outbox import Sample
from roomlink.drivers.port import Value
from roomlink.runtime.wiring import Binding, SoundOutput
from roomlink.venue import sound_plan


def planned(plans: Iterable[sound_plan.GroupPlan], output: SoundOutput) -> float | None:
    """What the sound plan says for one point; None where it says nothing (no microphone is open there)."""
    for plan in plans:
        if output.microphone is None and output.loudspeakers in plan.delays:
            return round(plan.delays[output.loudspeakers], 3)
        if output.microphone is not None and output.microphone in plan.gains:
            gain = plan.gains[output.microphone][output.loudspeakers]
            return output.off if gain == sound_plan.OFF else round(float(gain), 2)
    return None


def mapped(binding: Binding, sample: Sample) -> Sample:
    """A control's value over time as the device takes it."""
    out = binding.scaling.out
    return lambda t: out(sample(t))


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
        return binding.scaling.out(record.at(now))
    return binding.scaling.out(record.value)


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
