"""The gates of one venue: one before each binding of power or motion, renewed with the configuration."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from roomlink.core.spec import MotionSpec
from roomlink.core.state import State
from roomlink.drivers.runner import Runner
from roomlink.runtime.gates import MotionGate, PowerGate, Supply
from roomlink.runtime.wiring import Binding

Gate = PowerGate | MotionGate


class Gates:
    """Gates by binding. What they know of their loads outlives a reload; their times are always the configured ones."""

    def __init__(self) -> None:
        self._gates: dict[str, Gate] = {}
        self._supplies: dict[str, Supply] = {}

    def get(self, binding: str) -> Gate | None:
        return self._gates.get(binding)

    def rest_all(self, now: float) -> None:
        """Everything that moves stops."""
        for gate in self._gates.values():
            if isinstance(gate, MotionGate):
                gate.want(None, None, now)

    def rest_changed(self, state: State, bindings: Iterable[Binding], now: float) -> None:
        """What moves by a binding that is gone, changed or disarmed stops; call it before its device is let go."""
        kept = {binding.name: binding for binding in bindings}
        for name, gate in self._gates.items():
            binding, arming = kept.get(name), state.armed.get(name)
            if isinstance(gate, MotionGate) and (binding is None or arming is None or arming.digest != binding.digest):
                gate.want(None, None, now)

    def renew(self, state: State, bindings: Iterable[Binding], runners: Mapping[str, Runner], now: float) -> None:
        """Make the gates of this configuration."""
        for name, raw in state.spec.data.get("supplies", {}).items():
            self._supplies.setdefault(name, Supply(0.0)).stagger = raw["stagger"]
        for supply in self._supplies.values():
            supply.loads.clear()
        gates: dict[str, Gate] = {}
        for binding in bindings:
            gate, old = self._made(state, binding, runners, now), self._gates.get(binding.name)
            if isinstance(gate, PowerGate) and isinstance(old, PowerGate):
                gate.since, gate.now_on, gate.to_on, gate.at = old.since, old.now_on, old.to_on, old.at
            if gate is not None:
                gates[binding.name] = gate
        self._gates = gates

    def _made(self, state: State, binding: Binding, runners: Mapping[str, Runner], now: float) -> Gate | None:
        if binding.cls == "motion":
            spec = state.spec.zones[binding.zone].controls[binding.control]
            assert isinstance(spec, MotionSpec)
            return MotionGate(runners[binding.device], dict(binding.points), spec.dead_time)
        if binding.cls == "power":
            supply = self._supplies.get(binding.supply or "")
            gate = PowerGate(binding.min_on, binding.min_off, supply, now, last_on=binding.last_on, cool=binding.cool)
            if supply is not None:
                supply.loads[binding.name] = gate
            return gate
        return None

    def arrange(self, binding: Binding, now: float) -> Iterator[tuple[str, Callable[[float], bool], float]]:
        """After one load was ordered: those of its supply that have another time now, with what is wanted of each."""
        supply = self._supplies.get(binding.supply or "")
        for name in supply.arrange(now) if supply is not None else ():
            gate = supply.loads[name] if supply is not None else None
            if gate is not None and gate.at is not None:
                yield name, gate.sample(), gate.at
