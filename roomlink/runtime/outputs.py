"""Drives the devices towards what the venue says, and tells the core what they report.

Outputs are levels, not edges: each entry that touches a control makes its binding *want* something, and the device's
runner drives it there, again after every outage. What goes towards safe is not held up by the disk: ``early`` acts on
what was decided, before the journal has it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import structlog

from roomlink.core import events as ev
from roomlink.core import view
from roomlink.core.commands import Actor, ReportControl, ReportDevice, ReportWall
from roomlink.core.devices import ARMED_CLASSES
from roomlink.core.records import Level, Motion
from roomlink.core.spec import LevelSpec, MotionSpec
from roomlink.core.state import State
from roomlink.drivers.outbox import Sample, alike
from roomlink.drivers.port import Value
from roomlink.drivers.registry import Registry
from roomlink.drivers.runner import Health, Runner
from roomlink.runtime.clock import Timer
from roomlink.runtime.gates import MotionGate, PowerGate, Supply
from roomlink.runtime.wiring import Binding, Input, SoundOutput, Wired, unwired, wire
from roomlink.runtime.writer import Writer
from roomlink.venue import sound_plan

log = structlog.get_logger("roomlink")

ECHO_S = 1.0
"""How long after a sending a report of another value is not believed yet."""
GRACE_S = 3.0
"""How long an override's input may take to speak after a start or an outage before it counts as active."""


class Outputs:
    """All devices of one venue. ``start`` after the writer; ``stop`` before it."""

    def __init__(self, writer: Writer, registry: Registry, *, power_was_lost: bool = False) -> None:
        self._writer = writer
        self._registry = registry
        self._power_was_lost = power_was_lost
        self._runners: dict[str, Runner] = {}
        self._wired: dict[str, Wired] = {}
        self._by_control: dict[tuple[str, str], list[Binding]] = {}
        self._gates: dict[str, PowerGate | MotionGate] = {}
        self._supplies: dict[str, Supply] = {}
        self._silent: dict[str, Timer] = {}
        self._doubts: dict[str, Timer] = {}
        self._known: set[str] = set()
        """Inputs that have spoken over the present connection."""
        self._returning: dict[str, Value] = {}
        """Bindings whose device lost power, or may have, with what it has reported since: None for nothing."""
        self._idle_power: set[str] = set()
        """Power bindings that a restart must not touch before somebody orders something."""
        self._reloads: set[asyncio.Task[None]] = set()

    def start(self) -> None:
        self._writer.hooks.append(self._durable)
        self._writer.early.append(self._early)
        self._take_up(self._writer.state, first=True)

    async def stop(self) -> None:
        """Motion goes off, what is due is sent, every device gets its good-bye."""
        self._writer.hooks.remove(self._durable)
        self._writer.early.remove(self._early)
        for timer in (*self._silent.values(), *self._doubts.values()):
            timer.cancel()
        for gate in self._gates.values():
            if isinstance(gate, MotionGate):
                gate.want(None, None, self._writer.clock.stamp())
        for task in self._reloads:
            task.cancel()
        await asyncio.gather(*(runner.stop() for runner in self._runners.values()))

    # What is wanted

    def _durable(self, entry: ev.Entry) -> None:
        if any(isinstance(event, ev.Configured) for event in entry.events):
            self._take_up(self._writer.state)
            return
        self._follow(self._writer.state, entry.events)

    def _early(self, entry: ev.Entry) -> None:
        self._follow(self._writer.engine.ahead, entry.events)

    def _follow(self, state: State, events: Iterable[ev.Event]) -> None:
        for event in events:
            if isinstance(event, ev.Regrouped):
                self._send_sound_plan(state)
            if isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked):
                for binding in self._by_control.get((event.zone, event.control), ()):
                    self._idle_power.discard(binding.name)
                    self._drive(state, binding)
            elif isinstance(event, ev.Armed | ev.Disarmed):
                for bindings in self._by_control.values():
                    for binding in bindings:
                        if binding.name == event.binding:
                            self._arming(state, binding, armed=isinstance(event, ev.Armed))

    def _send_sound_plan(self, state: State) -> None:
        """Gains and delays as the groups ask for them now."""
        wanted = [output for wired in self._wired.values() for output in wired.sound]
        if not wanted:
            return
        now = self._writer.clock.stamp()
        plans = sound_plan.plan(state.spec.data, view.groups(state))
        for output in wanted:
            value = _planned(plans, output)
            if value is not None:
                self._runners[output.device].want(output.point, _constant(value), now)

    def _arming(self, state: State, binding: Binding, *, armed: bool) -> None:
        if armed:
            self._drive(state, binding)
            return
        gate = self._gates.get(binding.name)
        if isinstance(gate, MotionGate):
            gate.want(None, None, self._writer.clock.stamp())

    def _drive(self, state: State, binding: Binding) -> None:
        """Make one binding want what its control says, or its mask."""
        runner = self._runners[binding.device]
        record = state.controls.get((binding.zone, binding.control))
        if record is None:
            return
        if binding.cls in ARMED_CLASSES:
            arming = state.armed.get(binding.name)
            if arming is None or arming.digest != binding.digest:
                log.warning("not armed, not sent", binding=binding.name, control=f"{binding.zone}.{binding.control}")
                return
        now = self._writer.clock.stamp()
        gate = self._gates.get(binding.name)
        if isinstance(gate, MotionGate):
            assert isinstance(record, Motion)
            gate.want(record.running, record.until, now)
            return
        mask = state.masks.get((binding.zone, binding.control))
        value = mask.value if mask is not None else None if isinstance(record, Level) else record.value  # type: ignore[union-attr]  # motion has its gate
        if isinstance(gate, PowerGate):
            if binding.name not in self._idle_power or mask is not None:
                sample, at = gate.want(bool(value), now)
                runner.want(binding.points[""], _mapped(binding, sample), at)
            return
        if binding.name in self._returning and not runner.connected:
            # What it may come up from is known once it is back.
            runner.outbox.forget(binding.points[""])
        elif mask is None and isinstance(record, Level):
            level = self._brought_up(state, binding, record, now)
            runner.want(binding.points[""], _mapped(binding, level.at), level.arrival or now)
        else:
            runner.want(binding.points[""], _constant(binding.scaling.out(value)), now)

    def _brought_up(self, state: State, binding: Binding, record: Level, now: float) -> Level:
        """A level of a device that lost power, or may have, comes up from its low end; else as it is."""
        if binding.name not in self._returning:
            return record
        reported = self._returning.pop(binding.name)
        if reported is not None and alike(binding.scaling.out(record.at(now)), reported):
            return record  # it kept running
        spec = state.spec.zones[binding.zone].controls[binding.control]
        combining = state.spec.combining
        blend = combining.blend if combining is not None else 0.0
        if not isinstance(spec, LevelSpec) or blend <= 0.0:
            return record
        return replace(record, origin=spec.lo, start=now, seconds=max(blend, (record.arrival or now) - now))

    # What devices say

    def _heard(self, wired: Wired, point: str, value: Value) -> None:
        for found in wired.inputs.get(point, ()):
            self._spoke(found.what)
            self._known.add(found.what)
            command = found.command(value)
            if command is not None:
                self._writer.surely(command)
        for binding in wired.bindings:
            if binding.name in self._returning and binding.points.get("") == point:
                self._returning[binding.name] = value
            elif binding.points.get("") == point:
                self._differs(wired, binding, point)

    def _differs(self, wired: Wired, binding: Binding, point: str) -> None:
        """A device reports another value than it was driven to.

        Just after a sending this may be an older answer still on its way: then it is looked at again a little later.
        """
        place = self._runners[wired.name].outbox.places.get(point)
        if place is None or not place.known or not place.settled or alike(place.sent, place.reported):
            return
        clock = self._writer.clock
        if clock.stamp() < place.changed + ECHO_S:
            if (timer := self._doubts.pop(binding.name, None)) is not None:
                timer.cancel()
            again = lambda: self._differs(wired, binding, point)  # noqa: E731  # said once, for one timer
            self._doubts[binding.name] = clock.call_at(place.changed + ECHO_S, again)
        elif binding.follow and (binding.zone, binding.control) not in self._writer.state.masks:
            self._turned_by_hand(wired, binding, place.reported)
        elif binding.cls == "signal":
            # It changed by itself, and nobody may change it there: it is driven again, at most once each ECHO_S.
            self._runners[wired.name].again(point)

    def _turned_by_hand(self, wired: Wired, binding: Binding, value: Value) -> None:
        kind = self._writer.state.spec.zones[binding.zone].controls[binding.control].kind
        try:
            meant = binding.scaling.back(value, kind)
        except ValueError as error:
            log.warning("report not taken", device=wired.name, binding=binding.name, error=str(error))
            return
        by = Actor(wired.name, "device")
        self._writer.surely(ReportControl(by, binding.zone, binding.control, meant))

    def _health(self, wired: Wired, health: Health) -> None:
        """One alarm while a device is away. Inputs on it are lost: overrides count as active, walls as unknown."""
        log.info("device", device=wired.name, up=health.up, why=health.why)
        self._writer.surely(ReportDevice(Actor(wired.name, "device"), wired.name, health.up, health.why))
        inputs = [found for there in wired.inputs.values() for found in there]
        if health.up:
            for found in inputs:
                self._await_word(wired, found)
            return
        for binding in wired.bindings:
            if binding.from_low:
                self._returning[binding.name] = None
                self._drive(self._writer.state, binding)
        for found in inputs:
            self._spoke(found.what)
            self._known.discard(found.what)
            lost = found.lost(health.why)
            # A wall that has not spoken yet is unknown already.
            if not isinstance(lost, ReportWall) or self._writer.state.walls[lost.partition].sensed is not None:
                self._writer.surely(lost)

    def _connected(self, wired: Wired) -> None:
        """A device is back: what may have lost power comes up from its low end from now on."""
        for binding in wired.bindings:
            if binding.name in self._returning:
                self._drive(self._writer.state, binding)

    def _await_word(self, wired: Wired, found: Input) -> None:
        """An override's input that stays silent is as good as lost."""
        if not found.what.startswith("override/") or found.what in self._known:
            return
        self._spoke(found.what)

        def silent() -> None:
            self._silent.pop(found.what, None)
            self._writer.surely(found.lost(f"{wired.name} has not reported it"))

        self._silent[found.what] = self._writer.clock.call_at(self._writer.clock.stamp() + GRACE_S, silent)

    def _spoke(self, what: str) -> None:
        if timer := self._silent.pop(what, None):
            timer.cancel()

    # Which devices there are

    def _take_up(self, state: State, *, first: bool = False) -> None:
        """Make the devices of the configuration; those that did not change are kept running."""
        wired = wire(state.spec, self._registry)
        gone = [name for name, old in self._wired.items() if name not in wired or wired[name].key != old.key]
        for name in gone:
            task = asyncio.get_running_loop().create_task(self._runners.pop(name).stop())
            self._reloads.add(task)
            task.add_done_callback(self._reloads.discard)
        self._wired = wired
        supplies = state.spec.data.get("supplies", {})
        self._supplies = {name: self._supplies.get(name) or Supply(s["stagger"]) for name, s in supplies.items()}
        self._by_control = {}
        fresh = [name for name in wired if name not in self._runners]
        for name in fresh:
            self._runners[name] = self._runner(wired[name])
        now = self._writer.clock.stamp()
        self._gates = {name: gate for name, gate in self._gates.items() if _still(gate, self._runners)}
        for one in wired.values():
            for binding in one.bindings:
                self._by_control.setdefault((binding.zone, binding.control), []).append(binding)
                if binding.name not in self._gates and (gate := self._gate(state, binding, now)) is not None:
                    self._gates[binding.name] = gate
                if first and binding.cls == "power" and not binding.restore:
                    self._idle_power.add(binding.name)
                if first and self._power_was_lost and binding.from_low:
                    self._returning[binding.name] = None
                self._drive(state, binding)
        self._send_sound_plan(state)
        for report in unwired(state.spec):
            self._writer.surely(report)
        for name in fresh:
            self._runners[name].start()
            for found in (f for there in wired[name].inputs.values() for f in there):
                self._known.discard(found.what)
                self._await_word(wired[name], found)

    def _runner(self, wired: Wired) -> Runner:
        hear: Callable[[str, Value], None] = lambda point, value: self._heard(self._wired[wired.name], point, value)  # noqa: E731  # bound to the name, not to this wiring
        health: Callable[[Health], None] = lambda found: self._health(self._wired[wired.name], found)  # noqa: E731  # the same
        connected: Callable[[], None] = lambda: self._connected(self._wired[wired.name])  # noqa: E731  # the same
        return Runner(wired.name, wired.make(self._registry), self._writer.clock.stamp, hear, health, connected)

    def _gate(self, state: State, binding: Binding, now: float) -> PowerGate | MotionGate | None:
        if binding.cls == "motion":
            spec = state.spec.zones[binding.zone].controls[binding.control]
            assert isinstance(spec, MotionSpec)
            return MotionGate(self._runners[binding.device], dict(binding.points), spec.dead_time)
        if binding.cls == "power":
            supply = self._supplies.get(binding.supply or "")
            return PowerGate(binding.min_on, binding.min_off, supply, now)
        return None

    def devices(self) -> dict[str, Any]:
        """For ``/devices``."""
        return {
            name: {
                "driver": self._wired[name].driver.name,
                "up": runner.health.up,
                "since": view.rfc3339(runner.health.since),
                "why": runner.health.why,
                "points": {**_waiting(self._wired[name]), **runner.snapshot()},
            }
            for name, runner in self._runners.items()
            if name in self._wired
        }


def _still(gate: PowerGate | MotionGate, runners: dict[str, Runner]) -> bool:
    """Whether a gate's device is still the one it was made for."""
    return isinstance(gate, PowerGate) or gate.runner in runners.values()


def _waiting(wired: Wired) -> dict[str, Any]:
    """Points that are driven once their device is there, as ``Runner.snapshot`` shows others."""
    unknown = {"wanted": None, "sent": None, "reported": None, "confirmed": False, "fault": None}
    return {point: unknown for binding in wired.bindings for point in binding.points.values()}


def _planned(plans: Iterable[sound_plan.GroupPlan], output: SoundOutput) -> float | None:
    """What the plan says for one point; None where it says nothing (no microphone is open there)."""
    for plan in plans:
        if output.microphone is None and output.loudspeakers in plan.delays:
            return round(plan.delays[output.loudspeakers], 3)
        if output.microphone is not None and output.microphone in plan.gains:
            gain = plan.gains[output.microphone][output.loudspeakers]
            return output.off if gain == sound_plan.OFF else round(float(gain), 2)
    return None


def _mapped(binding: Binding, sample: Sample) -> Sample:
    out = binding.scaling.out
    return lambda t: out(sample(t))


def _constant(value: Value) -> Sample:
    return lambda t: value
