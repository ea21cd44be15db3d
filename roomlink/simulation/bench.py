"""Eyes at the devices: each value that arrives where something moves or takes power is held to the rules at once."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from roomlink.core.records import Motion
from roomlink.core.spec import MotionSpec, Spec
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated.bench import SENT_MAX, Bench, Sent
from roomlink.rehearsal.invariants import NEAR
from roomlink.runtime.wiring import Binding, Wired, wire
from roomlink.simulation.broken import hold_to


class Log(deque[Sent]):
    """What arrived at a device; ``seen`` hears of each."""

    def __init__(self, seen: Callable[[Sent], None]) -> None:
        super().__init__(maxlen=SENT_MAX)
        self._seen = seen

    def append(self, sent: Sent) -> None:
        super().append(sent)
        self._seen(sent)


@dataclass
class Eyes:
    """Looks at the points of one venue's power and motion; ``states`` gives the states that may count now."""

    bench: Bench
    states: Callable[[], tuple[State, ...]]
    now: Callable[[], float]
    devices: dict[str, Wired] = field(default_factory=dict)
    _care: dict[tuple[str, str], tuple[Binding, str]] = field(default_factory=dict)
    _spec: Spec | None = None
    _off: dict[tuple[str, str], float] = field(default_factory=dict)
    """When each point was last sent off after it was on."""
    _back: dict[str, float] = field(default_factory=dict)
    _on: set[tuple[str, str]] = field(default_factory=set)

    def look_at(self, spec: Spec, registry: Registry) -> None:
        """From now on the venue is wired like this. New devices stand as found: walls closed, nothing active."""
        if spec is self._spec:
            return
        self._spec, self.devices, self._care = spec, wire(spec, registry), {}
        for name, wired in self.devices.items():
            stand = self.bench.device(name)
            if not isinstance(stand.sent, Log):
                stand.sent = Log(lambda sent, name=name: self._seen(name, sent))  # type: ignore[misc]  # bound for mypy too
            for point, parsed in wired.points.items():
                start = getattr(parsed, "start", None)
                for found in wired.inputs.get(point, ()):
                    start = found.what.endswith("/closed") if found.what.startswith("wall/") else True
                if start is not None:
                    stand.values.setdefault(point, start)
                    stand.starts.setdefault(point, start)
            for binding in wired.bindings:
                if binding.cls != "signal":
                    self._care.update({(name, point): (binding, way) for way, point in binding.points.items()})

    def _seen(self, device: str, sent: Sent) -> None:
        at = (device, sent.point)
        on = sent.value is True
        if not on:
            if at in self._on:
                self._off[at] = sent.at
            self._on.discard(at)
            return
        self._on.add(at)
        if at in self._care:
            binding, way = self._care[at]
            armed = any(_armed(state, binding) for state in self.states())
            hold_to("armed", armed, f"{sent.point} of {device} was sent on while {binding.name} is disarmed")
            if way:
                self._motion(device, binding, way, sent)

    def _motion(self, device: str, binding: Binding, way: str, sent: Sent) -> None:
        other = next(point for name, point in binding.points.items() if name != way)
        hold_to(
            "one direction", (device, other) not in self._on, f"both directions of {binding.name} are on at {device}"
        )
        assert self._spec is not None
        key = (binding.zone, binding.control)
        spec = self._spec.zones[binding.zone].controls[binding.control]
        assert isinstance(spec, MotionSpec)
        rest = sent.at - self._off.get((device, other), float("-inf"))
        since = [record.since for s in self.states() if isinstance(record := s.controls.get(key), Motion)]
        back = self._back.get(device, float("-inf"))
        hold_to("runs", any(at >= back for at in since), f"{binding.name} resumes by itself once {device} is back")
        hold_to("dead time", rest >= spec.dead_time - NEAR, f"{binding.name} reverses after {rest:.3f} s")

    def back(self, device: str) -> None:
        """A device is connected again: what was ordered before must not move it any more."""
        self._back[device] = self.now()

    def power_lost(self, device: str) -> None:
        """The relays of a device without power are off, by themselves."""
        self._on = {at for at in self._on if at[0] != device}


def _armed(state: State, binding: Binding) -> bool:
    arming = state.armed.get(binding.name)
    return arming is not None and arming.digest == binding.digest
