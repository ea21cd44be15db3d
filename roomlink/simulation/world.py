"""The service as ``roomlink.service`` puts it together, by plain calls on a virtual clock, through all its starts.

Real are the core, engine, writer, hub, sockets' connections, outputs with their gates, group commit and recovery.
Simulated are the clock, the event loop's order, the disk, the wire to clients, and the devices.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Iterator, Mapping, MutableMapping
from contextlib import contextmanager
from functools import partial
from typing import Any, cast

import structlog

from roomlink.api.app import application
from roomlink.api.socket import Sockets
from roomlink.core.apply import apply
from roomlink.core.bookings import PhaseSet
from roomlink.core.commands import SERVICE, Command, Configure, Recover, StopMotion
from roomlink.core.evening_records import ClosingEnded
from roomlink.core.events import Entry
from roomlink.core.state import State
from roomlink.drivers.outbox import alike
from roomlink.drivers.port import Value
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import CallerFault, RoomlinkError
from roomlink.journal.recovery import fold
from roomlink.rehearsal import invariants
from roomlink.rehearsal.invariants import Watch
from roomlink.rehearsal.stage import DryOutputs, Stage
from roomlink.runtime.engine import Engine
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.stations import station_holder
from roomlink.runtime.wiring import StationPart
from roomlink.runtime.writer import Receipt, Writer
from roomlink.simulation.bench import Eyes
from roomlink.simulation.broken import Broken, hold_to
from roomlink.simulation.clients import PING_S, Client, Line
from roomlink.simulation.disk import Disk
from roomlink.simulation.venues import digest_of
from roomlink.testing.clock import VirtualClock
from roomlink.testing.committer import StepCommitter
from roomlink.testing.loop import StillLoop

FIRST_STAMP = 1_800_000_000.0
ROUNDS_MAX = 10_000
"""Rounds of loop and disk within one instant at most."""


class WatchedEngine(Engine):
    """The engine under the eyes of the watch: each entry, once it is durable, is held to the rules."""

    def __init__(self, state: State, seq: int) -> None:
        super().__init__(state, seq)
        self.watch: Watch | None = None
        self._see()

    def _see(self) -> None:
        if self.watch is None and self.durable.digest:
            self.watch = Watch.over(self.durable.spec)
            self.watch.alone = {zone: dict(values) for zone, values in self.durable.alone.items()}
            self.watch.alone_since = dict(self.durable.alone_since)
            # Who unlinked what by hand before a restart is not told by the state; that a link is missing is.
            homes = self.watch.plan.homes.items()
            pairs = {(name, zone) for name, home in homes for zone in self.durable.group_of[home]}
            links = self.durable.links
            self.watch.out = {pair for pair in pairs if pair not in links or "combining" not in links[pair].reasons}

    def committed(self, entry: Entry) -> None:
        if self.watch is not None:
            self.watch.look(self.durable)
            # The scene of a booking or of a routine that waited, and what recovery lets go of as of the last stamp, set
            # levels beside the regrouping.
            scenes = any(isinstance(event, PhaseSet | ClosingEnded) for event in entry.events)
            self.watch.mixed = scenes or entry.did.get("command") == "Recover"
        super().committed(entry)
        if self.watch is not None:
            self.watch.entry(self.durable, entry.at)
        self._see()


class PlainWriter(Writer):
    """The writer with its disk's worker and its loop in our hands; with what ``DryOutputs`` asks of a stage beside."""

    def __init__(self, state: State, seq: int, disk: Disk, clock: VirtualClock, bench: Bench) -> None:
        super().__init__(state, seq, disk, clock, Metrics())
        self.engine: WatchedEngine = WatchedEngine(state, seq)
        self.bench = bench
        self.unplugged: set[str] = set()
        self.committer: StepCommitter | None = None

    def start(self) -> None:
        self._committer = self.committer = StepCommitter(self.journal, asyncio.get_running_loop().call_soon_threadsafe)
        self._committer.start()
        self._arm()

    def halt(self) -> StepCommitter:
        """No more commands are taken; gives what was on its way to the disk."""
        found, self._committer, self.committer = self.committer, None, None
        assert found is not None
        return found

    @property
    def at_rest(self) -> bool:
        """Whether the journal has all that was decided, and nobody waits for it."""
        return self.engine.head == self.engine.seq and not self._waiting and not self._owed


FAILURES = (
    "a hook failed", "what was due could not be decided", "panel not served any more", "panels get a whole new view",
)  # fmt: skip
"""What the service writes into its log where it went on in spite of an error in its own code."""


class Listening:
    """In place of the service's log: keeps what must never be there."""

    def __init__(self) -> None:
        self.failures: list[str] = []

    @contextmanager
    def on(self) -> Iterator[None]:
        before = structlog.get_config()
        structlog.configure(logger_factory=structlog.ReturnLoggerFactory(), processors=[self._hear])
        try:
            yield
        finally:
            structlog.configure(**before)

    def _hear(self, _logger: object, _name: str, event: MutableMapping[str, Any]) -> Any:
        if event["event"] in FAILURES:
            self.failures.append(f"{event['event']}: {event.get('error') or repr(sys.exception())}")
        raise structlog.DropEvent


def broken_in(error: BaseException) -> invariants.Broken | None:
    """The broken rule in an error, or in a group of them."""
    if isinstance(error, BaseExceptionGroup):
        return next((found for one in error.exceptions if (found := broken_in(one)) is not None), None)
    return error if isinstance(error, invariants.Broken) else None


class World:
    """One service through all its lives, its disk, its devices and its clients."""

    def __init__(self, variants: list[dict[str, Any]], log: Listening) -> None:
        self.log = log
        self.variants = [(data, digest_of(data)) for data in variants]
        self.chosen = 0
        self.registry = Registry.of()
        self.wall_clock = FIRST_STAMP
        self.disk = Disk()
        self.clock = VirtualClock(FIRST_STAMP)
        self.bench = Bench(lambda: self.clock.stamp())
        self.eyes = Eyes(self.bench, lambda: (self.writer.engine.ahead, self.writer.state), lambda: self.now)
        self.clients: dict[str, Client] = {}
        self.unplugged: set[str] = set()
        self.known: dict[int, bytes] = {}
        """Entries that somebody was shown, as they were."""
        self.acknowledged = 0
        """The newest position that was named in an answer."""
        self.keys: dict[str, tuple[str, dict[str, Any]]] = {}
        self.lies: dict[tuple[str, str], float] = {}
        """Points that were turned at the device itself, and when that was last."""
        self.restarts = 0
        self.felt = (-1, -1)
        """The life and the position at which the feedback was counted out last: it changes with entries."""
        self._start()

    # Lives of the service.

    def _start(self) -> None:
        state, seq, last = fold(self.disk, empty=State, apply=apply)
        hold_to("acknowledged", seq >= self.acknowledged, f"entry {self.acknowledged} was acknowledged, {seq} is left")
        for known, body in self.known.items():
            same = known <= len(self.disk.bodies) and self.disk.bodies[known - 1] == body
            hold_to("acknowledged", same, f"entry {known} is not what was shown before")
        self.clock = VirtualClock(max(self.wall_clock, last))
        self.loop = StillLoop()
        self.writer = PlainWriter(state, seq, self.disk, self.clock, self.bench)
        self.writer.unplugged = self.unplugged
        self.walls = SimulatedWalls(self.clock, self.writer.surely)
        self.app = application(self.writer, self.walls)
        self.sockets: Sockets = self.app.state.sockets
        with self.loop.running():
            self.writer.hooks.append(self._shown)
            self.writer.start()
            self.outputs = DryOutputs(cast(Stage, self.writer), self.registry, power_was_lost=False)
            if state.digest:
                self.put(Recover(SERVICE, last))
                self._settle()
            self._configure()
            self.eyes.look_at(self.writer.state.spec, self.registry)
            self.outputs.start()
            self.walls.begin(self.writer.state)
            self._settle()

    def stop(self, down_s: float) -> None:
        """Stop in good order, be away, and start again."""
        with self.loop.running():
            self.disk.heal()
            self.put(StopMotion(SERVICE, "the service stops"))
            self._settle()
            self.outputs.end()
            self.walls.stop()
            self.writer.save_snapshot()
            self._settle()
            self.writer.halt().stop()
            self._gone()
        self.disk.open_again()
        self._again(down_s)

    def crash(self, down_s: float, kept: float) -> None:
        """The process is gone between two instructions. ``kept``: the share of what was being written that is whole."""
        with self.loop.running():
            unwritten = self.writer.halt().unwritten()
            self._gone()
        for stand_in in self.outputs.stand_ins.values():
            stand_in.stand.detach()
        self.disk.crash(unwritten, round(kept * len(unwritten)))
        self._again(down_s)

    def _gone(self) -> None:
        for client in self.clients.values():
            if client.line is not None:
                client.line.closed()
        self.loop.end()
        self._no_errors()

    def _again(self, down_s: float) -> None:
        self.wall_clock += down_s
        self.restarts += 1
        self._start()

    def reload(self, variant: int) -> None:
        self.chosen = variant % len(self.variants)
        self._configure()

    def _configure(self) -> None:
        data, digest = self.variants[self.chosen]
        if digest != self.writer.state.digest:
            self.put(Configure(SERVICE, data, digest))
            self._settle()

    # Time.

    @property
    def now(self) -> float:
        return self.clock.stamp()

    def pass_time(self, seconds: float) -> None:
        """Let time pass: timers, loop and disk take their turns in an order of their own stamps."""
        self.wall_clock += seconds
        end = self.now + seconds
        with self.loop.running():
            self._settle()
            while (due := self.clock.first) is not None and due <= end:
                self.clock.advance(max(0.0, due - self.now))
                self._settle()
            self.clock.advance(max(0.0, end - self.now))
            self._settle()

    def _settle(self) -> None:
        """Whatever happens within this instant."""
        for _ in range(ROUNDS_MAX):
            ran = self.loop.run_ready()
            committer = self.writer.committer
            wrote = committer is not None and not self.disk.slow and committer.step()
            if not ran and not wrote:
                break
        else:
            raise Broken("rest", "loop and disk keep one another busy without end")
        self._no_errors()
        self.eyes.look_at(self.writer.state.spec, self.registry)

    def _no_errors(self) -> None:
        for error in self.loop.errors:
            raise found if (found := broken_in(error)) is not None else Broken("whole", repr(error)) from error
        logged, self.log.failures = self.log.failures, []
        hold_to("whole", not logged, "; ".join(logged))

    # What is asked of it.

    def put(self, command: Command, key: str | None = None) -> None:
        """A command as it comes over HTTP. A refusal is an answer too."""
        digest = digest_of(repr(command)) if key else ""
        try:
            done = self.writer.put(command, key, digest)
        except CallerFault:
            return
        except RoomlinkError:
            raise
        except Exception as error:  # whatever the service stumbles over is what a simulation is there to find
            raise Broken("whole", f"{type(command).__name__}: {error!r}") from error
        done.add_done_callback(partial(self._answered, key, digest))

    def _answered(self, key: str | None, digest: str, done: asyncio.Future[Receipt]) -> None:
        if done.cancelled() or done.exception() is not None:
            return
        receipt = done.result()
        self.acknowledged = max(self.acknowledged, receipt.seq)
        if key is not None:
            answer = {"seq": receipt.seq, **receipt.reply}
            before = self.keys.setdefault(key, (digest, answer))
            hold_to("once", before == (digest, answer), f"{key} is answered with {answer}, before with {before[1]}")

    def _shown(self, entry: Entry) -> None:
        self.known[entry.seq] = self.disk.bodies[entry.seq - 1]
        self.acknowledged = max(self.acknowledged, entry.seq)

    def held_keys(self, within_s: float = 0.0) -> list[tuple[str, str, str]]:
        """(device, point, holder) of the keys that are held down at devices that are connected, or were just now."""

        def held(part: StationPart, device: str, value: Value) -> bool:
            let_go = self.lies.get((device, part.point), float("-inf"))
            return alike(part.raw["pressed"], value) or self.now - let_go < within_s

        return [
            (device, point, station_holder(part.station, part.name))
            for device, wired in self.eyes.devices.items()
            if (stand := self.bench.device(device)).connected
            for point, parts in wired.stations.items()
            for part in parts
            if part.kind == "key" and not part.raw["each"] and held(part, device, stand.values.get(point))
        ]

    # Clients.

    def connect(self, name: str, controller: str | None) -> None:
        old = self.clients.pop(name, None)
        if old is not None and old.line is not None:
            old.line.close()
        self.clients[name] = Client(name, controller)
        self.resume(name)

    def resume(self, name: str) -> None:
        """Come back with what it knew; the server is asked first whether there is such a controller."""
        client = self.clients.get(name)
        known: Mapping[str, Any] = self.writer.state.spec.controllers
        if client is None or client.line is not None or not (client.controller is None or client.controller in known):
            return
        client.alive = client.reads = True
        Line(client, self.writer, self.app, self.loop)

    def vanish(self, name: str) -> None:
        """Nothing comes from it any more; pings find that out in time."""
        client = self.clients.get(name)
        if client is None or client.line is None or not client.alive:
            return
        client.alive, client.vanished = False, self.now
        self.clock.call_at(self.now + PING_S, client.line.close)

    def jump(self, seconds: float) -> None:
        """Somebody sets the machine's clock; a service that runs does not notice."""
        self.wall_clock += seconds
