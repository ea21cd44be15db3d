"""A venue on stage: the real engine and the real outputs on virtual time, with every device on the bench.

Commands are decided, followed by the devices and held to the rules at once; what devices then say is told to the core
within the same instant.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Future
from typing import Any, cast

from roomlink.core.alarms import standing
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Command, Configure, Recover, ReportWall, StopMotion
from roomlink.core.events import Entry, Event
from roomlink.core.state import State
from roomlink.core.walls import TWO_CONTACTS
from roomlink.drivers.port import Value
from roomlink.drivers.registry import Registry
from roomlink.drivers.runner import Runner
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import CallerFault
from roomlink.rehearsal.invariants import Watch
from roomlink.rehearsal.stand_in import StandIn
from roomlink.runtime.engine import Engine
from roomlink.runtime.outputs import Outputs
from roomlink.runtime.safety import towards_safe
from roomlink.runtime.simulated import WALL, SimulatedWalls
from roomlink.runtime.wiring import Wired, wire
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock, VirtualTimer

TOLD_AT_ONCE_MAX = 10_000
"""Commands that follow from one another within one instant at most."""


class Stage:
    """What ``runtime.outputs`` asks of the writer, and the clock, the bench and the watch around it."""

    def __init__(self, data: Mapping[str, Any], digest: str, start: float, begin: Iterable[Event] = ()) -> None:
        self.clock = VirtualClock(start)
        self.engine = Engine(State(), 0)
        self.hooks: list[Callable[[Entry], None]] = []
        self.owing = False
        self.early: list[Callable[[Entry], None]] = []
        self.entries: list[Entry] = []
        self.bench = Bench(self.clock.stamp)
        self.registry = Registry.of()
        self.outputs: DryOutputs | None = None
        self.unplugged: set[str] = set()
        self._told: deque[Command] = deque()
        self._telling = False
        self._timer: VirtualTimer | None = None
        self._watch: Watch | None = None
        begun = tuple(begin)
        if begun:
            # What was so then counts, its configuration included.
            self._entry(Entry(1, start, "service", "service", {"command": "Begin"}, begun))
        else:
            self._configure(data, digest)

    def open(self, walls: Mapping[str, str]) -> None:
        """Put the devices on the bench and begin: ``walls`` stand as given, all others as the state says or closed."""
        self.walls = SimulatedWalls(self.clock, self.surely)
        self._at_rest(walls)
        prefix = "device-lost/"
        lost = (alarm.removeprefix(prefix) for alarm in standing(self.state) if alarm.startswith(prefix))
        self.unplugged.update(lost)
        self._start_outputs(power_was_lost=False)
        self.walls.begin(self.state)
        for wall, position in walls.items():
            self._stand(wall, position)

    # As the writer.

    @property
    def state(self) -> State:
        return self.engine.durable

    def surely(self, command: Command) -> None:
        """Tell the core, as soon as what is under way is done."""
        self._told.append(command)
        if not self._telling:
            self._tell()

    def put(self, command: Command) -> Future[None]:
        """What a station orders: where it is refused nothing happens, as at the station itself."""
        done: Future[None] = Future()
        done.set_result(None)
        self.surely(command)
        return done

    def _tell(self) -> None:
        self._telling = True
        try:
            for _ in range(TOLD_AT_ONCE_MAX):
                if not self._told:
                    return
                command = self._told.popleft()
                try:
                    self._take(command)
                except CallerFault:
                    continue  # as the writer does: a report about what is no longer there
            raise RuntimeError("devices and core tell one another news without end")
        finally:
            self._telling = False

    # What happens.

    @property
    def now(self) -> float:
        return self.clock.stamp()

    def do(self, command: Command) -> None:
        """Carry out a command now. Raises ``CallerFault`` where it is refused, ``Broken`` where a rule is broken."""
        self._telling = True
        try:
            self._take(command)
        finally:
            self._telling = False
            self._tell()

    def happened(self, events: tuple[Event, ...], who: str = "journal") -> None:
        """An entry that stands as it was written, where no command can be told again."""
        self._wake()
        self._entry(Entry(self.engine.head + 1, self.now, who, "journal", {"command": "Happened"}, events))
        self._tell()

    def advance_to(self, stamp: float) -> None:
        self.clock.advance(max(0.0, stamp - self.now))

    def restart(self, down_s: float) -> None:
        """Stop in good order, be away for ``down_s``, and recover."""
        self._stop_outputs()
        self.walls.stop()
        last = self.now
        if self._timer is not None:
            self._timer.cancel()
        self.clock.advance(down_s)
        self.do(Recover(SERVICE, last))
        self._start_outputs(power_was_lost=False)
        self.walls.begin(self.state)

    def reload(self, data: Mapping[str, Any], digest: str) -> None:
        if digest != self.state.digest:
            self._configure(data, digest)

    def _configure(self, data: Mapping[str, Any], digest: str) -> None:
        if digest != self.state.digest:
            self.do(Configure(SERVICE, data, digest))

    def _take(self, command: Command) -> None:
        self._wake()
        taken = self.engine.take(command, self.now)
        if taken.entry is not None:
            self._commit(taken.entry, early=towards_safe(command))

    def _wake(self) -> None:
        entry = self.engine.wake(self.now)
        if entry is not None:
            self._commit(entry)

    def _entry(self, entry: Entry) -> None:
        """Take an entry as it is, not decided here."""
        self.engine.head = entry.seq
        for event in entry.events:
            apply(self.engine.ahead, event)
        self._commit(entry)

    def _commit(self, entry: Entry, *, early: bool = False) -> None:
        if early:
            for hook in self.early:
                hook(entry)
        if self._watch is not None:
            self._watch.look(self.state)
        self.engine.committed(entry)
        self.entries.append(entry)
        if self._watch is None and self.state.digest:
            self._watch = Watch.over(self.state.spec)
            self._watch.alone = {zone: dict(values) for zone, values in self.state.alone.items()}
            self._watch.alone_since = dict(self.state.alone_since)
        elif self._watch is not None:
            self._watch.entry(self.state, self.now)
        for hook in self.hooks:
            hook(entry)
        self._arm()

    def _arm(self) -> None:
        due = self.engine.deadline
        if self._timer is not None and self._timer.waits:
            if self._timer.stamp == due:
                return
            self._timer.cancel()
        self._timer = None if due is None else self.clock.call_at(due, self._due)

    def _due(self) -> None:
        self._wake()
        self._arm()

    # The devices.

    def device(self, name: str) -> StandIn:
        assert self.outputs is not None
        return self.outputs.stand_ins[name]

    def unplug(self, device: str, *, power: bool) -> None:
        self.unplugged.add(device)
        self.device(device).unplug(power=power)

    def plug(self, device: str) -> None:
        self.unplugged.discard(device)
        self.device(device).plug()

    def level(self, device: str, point: str) -> Value:
        return self.device(device).level(point)

    def up(self, device: str) -> bool:
        return self.device(device).health.up

    def _start_outputs(self, *, power_was_lost: bool) -> None:
        self.outputs = DryOutputs(self, self.registry, power_was_lost=power_was_lost)
        self.outputs.start()

    def _stop_outputs(self) -> None:
        self.do(StopMotion(SERVICE, "the service stops"))
        if self.outputs is not None:
            self.outputs.end()

    def _at_rest(self, walls: Mapping[str, str]) -> None:
        """What inputs say before anything happens: no override is active, and the walls stand as they stand."""
        spec = self.state.spec
        for name, wired in wire(spec, self.registry).items():
            stand = self.bench.device(name)
            for point, parsed in wired.points.items():
                if "start" in parsed.model_fields_set:
                    stand.values[point] = getattr(parsed, "start", None)
            for point, inputs in wired.inputs.items():
                for found in inputs:
                    stand.values[point] = self._says(found.what, walls, stand.values.get(point))

    def _stand(self, wall: str, position: str) -> None:
        """A wall that no device tells of stands so, by its simulated contacts or because somebody says it."""
        data = self.state.spec.data["partitions"][wall]
        contacts = {p: c for c, p in TWO_CONTACTS.items()}[position]
        if data.get("simulated"):
            self.surely(ReportWall(WALL, wall, contacts=contacts))
        elif not data.get("contacts") and not data.get("report"):
            self.surely(ReportWall(WALL, wall, position))

    def _says(self, what: str, walls: Mapping[str, str], given: Value) -> Value:
        spec, (kind, name, *end) = self.state.spec, what.split("/")
        if kind == "override":
            active_open = spec.data["overrides"][name]["input"].get("active", "open") == "open"
            stands = name in self.state.overrides
            return given if given is not None and not stands else stands != active_open
        if kind != "wall":
            return given  # a pass door, presence or paging: nothing is said before anything happens
        record = self.state.walls[name]
        position = walls.get(name) or (record.sensed or ("open" if record.joins else "closed"))
        data = spec.data["partitions"][name]
        if not end:
            return next((v for p, v in data["report"]["values"].items() if p == position), None)
        made = data["contacts"][end[0]].get("made", True)
        return made if position == {"closed": "closed", "stacked": "open"}[end[0]] else not made


class DryOutputs(Outputs):
    """The real outputs with stand-ins for the runners: they need no event loop."""

    def __init__(self, stage: Stage, registry: Registry, *, power_was_lost: bool) -> None:
        super().__init__(cast(Writer, stage), registry, power_was_lost=power_was_lost)
        self._stage = stage
        self.stand_ins: dict[str, StandIn] = {}

    def _take_up(self, state: State, *, first: bool = False) -> None:
        wired = wire(state.spec, self._registry)
        for name, old in list(self._wired.items()):
            if name not in wired or wired[name].key != old.key:
                self.stand_ins.pop(name).end()
                del self._wired[name], self._runners[name]
        super()._take_up(state, first=first)

    def _runner(self, wired: Wired) -> Runner:
        name = wired.name
        stand_in = StandIn(
            self._stage.bench.device(name),
            self._stage.clock,
            hear=lambda point, value: self._heard(self._wired[name], point, value),
            health=lambda found: self._health(self._wired[name], found),
            connected=lambda: self._connected(self._wired[name]),
            moves=any(binding.cls == "motion" for binding in wired.bindings),
            plugged=name not in self._stage.unplugged,
        )
        self.stand_ins[name] = stand_in
        return cast(Runner, stand_in)

    def end(self) -> None:
        """As ``stop``, within an instant."""
        self._stage.hooks.remove(self._durable)
        self._stage.early.remove(self._early)
        for timer in (*self._silent.values(), *self._doubts.values()):
            timer.cancel()
        for stand_in in self.stand_ins.values():
            stand_in.end()
