"""Drives the devices towards what the venue says, and tells the core what they report.

Outputs are levels, not edges: each entry that touches a control makes its binding *want* something, and the device's
runner drives it there, again after every outage. What goes towards safe is not held up by the disk: ``early`` acts on
what was decided, before the journal has it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Iterable
from dataclasses import replace
from typing import Any

import structlog

from roomlink.core import events as ev
from roomlink.core.commands import Actor, ReportControl, ReportDevice, ReportWall
from roomlink.core.devices import ARMED_CLASSES
from roomlink.core.records import Level, Motion
from roomlink.core.spec import LevelSpec
from roomlink.core.state import State
from roomlink.drivers.outbox import alike
from roomlink.drivers.port import Value
from roomlink.drivers.registry import Registry
from roomlink.drivers.runner import Health, Runner
from roomlink.runtime import device_view, wanted
from roomlink.runtime.clock import Timer
from roomlink.runtime.gatekeeping import Gates
from roomlink.runtime.gates import MotionGate, PowerGate
from roomlink.runtime.stations import Stations
from roomlink.runtime.wiring import Binding, Input, Wired, unwired, wire
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

ECHO_S = 1.0
"""How long after a sending a report of another value is not believed yet."""
WORD_S = 0.3
"""How long a device that is back is given to say what it is, before it is taken for one that lost power."""
LET_OUT_S = 0.2
"""How long after its level has come up sound is let out."""
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
        self._gates = Gates()
        self._powered: dict[str, Binding] = {}
        self._silent: dict[str, Timer] = {}
        self._doubts: dict[str, Timer] = {}
        self._known: set[str] = set()  # inputs that have spoken over the present connection
        # Bindings whose device lost power, or may have, with what it has reported since (None: nothing).
        self._returning: dict[str, Value] = {}
        self._hushed: dict[str, float] = {}  # mutes, with until when they are on as levels beside them come up
        self._idle_power: set[str] = set()  # power bindings that a restart must not touch before somebody orders
        self._safe: set[tuple[str, str]] = set()
        """Controls driven towards safe before that is durable: older entries must not undo it."""
        self._said: dict[tuple[str, str], tuple[Value, float]] = {}  # (device, point) to what was heard, and when
        self._reloads: set[asyncio.Task[None]] = set()
        self._started = False
        self._stations = Stations(writer)

    def start(self) -> None:
        self._writer.hooks.append(self._durable)
        self._writer.early.append(self._early)
        self._started = True
        self._take_up(self._writer.state, first=True)

    async def stop(self) -> None:
        """Motion goes off, what is due is sent, every device gets its good-bye. Does no harm when not started."""
        if not self._started:
            return
        self._started = False
        self._writer.hooks.remove(self._durable)
        self._writer.early.remove(self._early)
        for timer in (*self._silent.values(), *self._doubts.values()):
            timer.cancel()
        self._stations.stop()
        self._gates.rest_all(self._writer.clock.stamp())
        await asyncio.gather(*self._reloads, *(runner.stop() for runner in self._runners.values()))

    # What is wanted

    def _durable(self, entry: ev.Entry) -> None:
        if any(isinstance(event, ev.Configured) for event in entry.events):
            self._take_up(self._writer.state)
        self._follow(self._writer.state, entry.events)
        self._stations.follow(self._writer.state, entry.events)
        if self._safe and not self._writer.owing:
            safe, self._safe = self._safe, set()
            for key in safe:
                for binding in self._by_control.get(key, ()):
                    self._drive(self._writer.state, binding)

    def _early(self, entry: ev.Entry) -> None:
        self._safe.update(
            (event.zone, event.control)
            for event in entry.events
            if isinstance(event, ev.ControlSet | ev.Masked | ev.Unmasked)
        )
        self._follow(self._writer.engine.ahead, entry.events, early=True)

    def _follow(self, state: State, events: Iterable[ev.Event], *, early: bool = False) -> None:
        now = self._writer.clock.stamp()
        for event in events:
            if wanted.is_told(state, event):
                self._send_told(state)
            for key in wanted.touched(state, event):
                for binding in self._by_control.get(key, ()) if early or key not in self._safe else ():
                    self._idle_power.discard(binding.name)
                    self._drive(state, binding, now)  # of one time: loads of one entry are put into order
            if isinstance(event, ev.Armed | ev.Disarmed):
                for bindings in self._by_control.values():
                    for binding in bindings:
                        if binding.name == event.binding and isinstance(event, ev.Armed):
                            self._drive(state, binding)
                        elif binding.name == event.binding:
                            self._disarm(binding)

    def _send_told(self, state: State) -> None:
        """What devices are told that no control says: gains and delays as the groups ask for them, alarms."""
        now = self._writer.clock.stamp()
        for device, point, value in wanted.told(state, self._wired.values()):
            self._runners[device].want(point, wanted.constant(value), now)

    def _disarm(self, binding: Binding) -> None:
        """Nothing that waits or runs behind a disarmed binding goes on; a load stays as it is."""
        now = self._writer.clock.stamp()
        gate = self._gates.get(binding.name)
        if isinstance(gate, MotionGate):
            gate.want(None, None, now)
        elif isinstance(gate, PowerGate):
            gate.hold(now)
            # Not even what it is now is sent again: over a new connection that would switch a load that lost power.
            self._runners[binding.device].outbox.forget(binding.points[""])

    def _drive(self, state: State, binding: Binding, now: float | None = None) -> None:
        """Make one binding want what its control says, or its mask."""
        runner = self._runners[binding.device]
        record = state.controls.get((binding.zone, binding.control))
        if record is None:
            return
        if binding.cls in ARMED_CLASSES:
            arming = state.armed.get(binding.name)
            if arming is None or arming.digest != binding.digest:
                log.warning("not armed, not sent", binding=binding.name, control=f"{binding.zone}.{binding.control}")
                gate = self._gates.get(binding.name)
                if isinstance(gate, MotionGate) and binding.points["open"] in runner.outbox.places:
                    gate.want(None, None, self._writer.clock.stamp())
                return
        now = self._writer.clock.stamp() if now is None else now
        gate = self._gates.get(binding.name)
        if isinstance(gate, MotionGate):
            assert isinstance(record, Motion)
            # What was ordered while a device was away must not begin to move once it is back.
            gate.want(record.running if runner.connected else None, record.until, now)
            return
        mask = state.masks.get((binding.zone, binding.control))
        value = mask.value if mask is not None else None if isinstance(record, Level) else record.value  # type: ignore[union-attr]  # motion has its gate
        if isinstance(gate, PowerGate):
            if binding.name not in self._idle_power or mask is not None:
                is_on, at = gate.want(bool(value), now, at_once=mask is not None)
                runner.want(binding.points[""], wanted.mapped(binding, is_on), at)
                for name, moved, then in self._gates.arrange(binding, now):
                    other = self._powered[name]
                    self._runners[other.device].want(other.points[""], wanted.mapped(other, moved), then)
            return
        if binding.name in self._returning and not runner.connected:
            # What it may come up from is known once it is back.
            runner.outbox.forget(binding.points[""])
        elif mask is None and isinstance(record, Level):
            level = self._brought_up(state, binding, record, now)
            runner.want(binding.points[""], wanted.level(state, binding, level), level.arrival or now)
        else:
            self._returning.pop(binding.name, None)  # what is masked does not come up: it is driven there
            quiet_until = now if mask is not None else self._hushed.get(binding.name, now)
            sample = wanted.muted(binding, value, quiet_until)
            runner.want(binding.points[""], sample, quiet_until)

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
        level = replace(record, origin=spec.lo, start=now, seconds=max(blend, (record.arrival or now) - now))
        for mute in self._wired[binding.device].bindings:
            if mute.hushes:
                # Muted, routed, levelled, and only then let out.
                self._hushed[mute.name] = max(self._hushed.get(mute.name, now), now + level.seconds + LET_OUT_S)
                self._drive(state, mute)
        return level

    # What devices say

    def _heard(self, wired: Wired, point: str, value: Value) -> None:
        self._stations.heard(wired.name, point, value)
        if point in wired.inputs or point in wired.stations:
            self._said[wired.name, point] = (value, self._writer.clock.stamp())
        for found in wired.inputs.get(point, ()):
            self._spoke(found.what)
            self._known.add(found.what)
            command = found.command(value)
            if command is not None:
                self._writer.surely(command)
        for binding in wired.bindings:
            if binding.from_low and binding.name in self._returning and binding.points.get("") == point:
                self._returning[binding.name] = value
                self._drive(self._writer.state, binding)
            elif binding.points.get("") == point:
                self._differs(wired, binding, point)

    def _differs(self, wired: Wired, binding: Binding, point: str) -> None:
        """A device reports another value than it was driven to; just after a sending that is looked at again later."""
        place = self._runners[wired.name].outbox.places.get(point)
        if place is None or not place.known or not place.settled or alike(place.sent, place.reported):
            return
        if self._writer.clock.stamp() < place.changed + ECHO_S:
            self._look_again(wired, binding, point, place.changed + ECHO_S)
        elif binding.follow and wanted.own(self._writer.state, binding):
            self._turned_by_hand(wired, binding, place.reported)
        elif binding.cls == "signal":
            # It changed by itself, and nobody may change it there: it is driven again, at most once each ECHO_S.
            self._runners[wired.name].again(point)

    def _look_again(self, wired: Wired, binding: Binding, point: str, at: float) -> None:
        if (timer := self._doubts.pop(binding.name, None)) is not None:
            timer.cancel()
        self._doubts[binding.name] = self._writer.clock.call_at(at, lambda: self._differs(wired, binding, point))

    def _turned_by_hand(self, wired: Wired, binding: Binding, value: Value) -> None:
        kind = self._writer.state.spec.zones[binding.zone].controls[binding.control].kind
        try:
            meant = binding.scaling.back(value, kind)
        except ValueError as error:
            log.warning("report not taken", device=wired.name, binding=binding.name, error=str(error))
            self._runners[wired.name].again(binding.points[""])
            return
        self._writer.surely(ReportControl(Actor(wired.name, "device"), binding.zone, binding.control, meant))
        if not wanted.is_so(self._writer.engine.ahead, binding, meant, self._writer.clock.stamp()):
            self._runners[wired.name].again(binding.points[""])  # it was refused

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
            if binding.from_low or binding.hushes:
                self._returning[binding.name] = None
                self._drive(self._writer.state, binding)
        self._said = {at: said for at, said in self._said.items() if at[0] != wired.name}
        self._stations.lost(wired.name, health.why)
        for found in inputs:
            self._spoke(found.what)
            self._known.discard(found.what)
            lost = found.lost(health.why)
            # A wall that has not spoken yet is unknown already.
            wall = self._writer.state.walls[lost.partition] if isinstance(lost, ReportWall) else None
            if wall is None or wall.sensed is not None or wall.report is not None:
                self._writer.surely(lost)

    def _connected(self, wired: Wired) -> None:
        self._stations.connected(wired.name)
        self._await_return(wired)

    def _await_return(self, wired: Wired) -> None:
        """A device is back: what may have lost power comes up from its low end, unless it says that it kept running."""

        def silent() -> None:
            self._doubts.pop(f"return/{wired.name}", None)
            # Mutes last: a level that comes up has them on by then, and where none does they are as they were.
            for binding in sorted(wired.bindings, key=lambda binding: binding.hushes):
                if binding.name in self._returning and self._wired.get(wired.name) is wired:
                    self._drive(self._writer.state, binding)

        if any(binding.name in self._returning for binding in wired.bindings):
            at = self._writer.clock.stamp() + WORD_S
            self._doubts[f"return/{wired.name}"] = self._writer.clock.call_at(at, silent)

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
        bindings = [binding for one in wired.values() for binding in one.bindings]
        now = self._writer.clock.stamp()
        self._gates.rest_changed(state, bindings, now)
        gone = {n: r for n, r in self._runners.items() if n not in wired or wired[n].key != self._wired[n].key}
        for timer in (*self._doubts.values(), *self._silent.values()):
            timer.cancel()
        self._doubts, self._silent = {}, {}
        self._wired, self._by_control = wired, {}
        fresh = [name for name in wired if name not in self._runners or name in gone]
        self._runners = {name: r for name, r in self._runners.items() if name not in gone}
        for name in fresh:
            self._runners[name] = self._runner(wired[name])
        self._gates.renew(state, bindings, self._runners, now)
        self._powered = {binding.name: binding for binding in bindings if binding.cls == "power"}
        for binding in bindings:
            self._by_control.setdefault((binding.zone, binding.control), []).append(binding)
            if first and binding.cls == "power" and not binding.restore:
                self._idle_power.add(binding.name)
            if first and self._power_was_lost and (binding.from_low or binding.hushes):
                self._returning[binding.name] = None
            self._drive(state, binding, now)
        self._send_told(state)
        self._stations.take_up(wired, self._runners)
        for report in unwired(state.spec):
            self._writer.surely(report)
        self._said = {at: said for at, said in self._said.items() if at[0] in wired and at[0] not in fresh}
        for name, old in gone.items():
            # One device has one connection: the old one ends before the new one begins.
            self._keep(self._replace(old, self._runners.get(name)))
        for name in (name for name in fresh if name not in gone):
            self._runners[name].start()
        for one in wired.values():
            for point, inputs in one.inputs.items():
                self._listen(one, point, inputs)
            if one.name not in fresh:  # what was to be looked at later still is
                self._await_return(one)
                for binding in one.bindings:
                    self._look_again(one, binding, binding.points.get("", ""), now + ECHO_S)

    async def _replace(self, old: Runner, new: Runner | None) -> None:
        await old.stop()
        if new is not None and self._started and self._runners.get(new.name) is new:
            new.start()

    def _keep(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._reloads.add(task)
        task.add_done_callback(self._reloads.discard)

    def _listen(self, wired: Wired, point: str, inputs: list[Input]) -> None:
        """Inputs of this configuration: what was said there before counts anew, and silence counts as lost."""
        said = self._said.get((wired.name, point))
        for found in inputs:
            if said is not None:
                if (command := found.command(said[0])) is not None:
                    self._writer.surely(command)
            else:
                self._known.discard(found.what)
                self._await_word(wired, found)

    def _runner(self, wired: Wired) -> Runner:
        def of_now(call: Callable[..., None]) -> Callable[..., None]:
            # By the wiring of now, which a reload may have changed; a device that is gone is no longer heard.
            def told(*what: Any) -> None:
                if (now := self._wired.get(wired.name)) is not None and self._runners.get(wired.name) is runner:
                    call(now, *what)

            return told

        device, stamp = wired.make(self._registry), self._writer.clock.stamp
        hear, health, connected = of_now(self._heard), of_now(self._health), of_now(self._connected)
        motion = {point for one in wired.bindings if one.cls == "motion" for point in one.points.values()}
        runner = Runner(wired.name, device, stamp, hear, health, connected, self._writer.may_drive, motion)
        return runner

    def devices(self, *, may_see: bool = False) -> dict[str, Any]:
        """For ``/devices``: outputs by point, and the inputs with what was last heard there."""
        state, now = self._writer.state, self._writer.clock.stamp()
        return device_view.devices(state, now, self._runners, self._wired, self._said, may_see=may_see)
