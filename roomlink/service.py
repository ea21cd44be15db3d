"""The service put together: one venue, its journal, its writer, its faces on one port."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import structlog
import uvicorn

from roomlink import limits
from roomlink.api.app import application
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure, Recover, StopMotion
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver as simulated_driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import RoomlinkError, VenueFault
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Journal
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.device_rules import DriverRules
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.housekeeping import Housekeeping
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.outputs import Outputs
from roomlink.runtime.schedules import Schedules
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.webhooks import Webhooks
from roomlink.runtime.writer import Writer
from roomlink.venue.load import Loaded, load

log = structlog.get_logger("roomlink")

PING_S = 5.0
"""How often sockets are pinged, and how long the answer may take, so that dead peers are noticed."""
SHUTDOWN_S = 3
STOP_SIGNALS = (signal.SIGTERM, signal.SIGINT)


@dataclass(frozen=True, slots=True)
class Options:
    """How to serve. ``data`` None: nothing is kept."""

    folder: Path
    host: str = "127.0.0.1"
    port: int = 8080
    data: Path | None = None


class Service:
    """One venue being served. ``run`` returns when it was told to stop."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self._bench = Bench()
        self._registry = Registry.of(simulated_driver(self._bench))
        self._rules = DriverRules(self._registry)
        self._loaded = load(options.folder, self._rules)
        self._server: Server | None = None

    async def run(self) -> None:
        """Serve until SIGTERM or SIGINT. Raises what keeps it from starting, before the port is opened."""
        journal = self._journal()
        try:
            await self._serve(journal)
        finally:
            journal.close()

    def _journal(self) -> Journal:
        if self.options.data is None:
            return MemoryJournal()
        self.options.data.mkdir(parents=True, exist_ok=True)
        return SqliteJournal(self.options.data / "journal.db", self._loaded.spec.id)

    async def _serve(self, journal: Journal) -> None:
        for notice in journal.notices:
            log.warning("journal", notice=notice)
        state, seq, last = fold(journal, empty=State, apply=apply)
        clock = SystemClock()
        if (behind := clock.anchor(last)) > 1.0:
            log.warning("clock", notice=f"the wall clock lies {behind:.0f} s behind the journal's last entry")
        writer = Writer(state, seq, journal, clock, Metrics())
        writer.start()
        simulated = SimulatedWalls(clock, writer.surely)
        for problem in self._registry.problems:
            log.warning("driver", problem=problem)
        outputs = Outputs(writer, self._registry, power_was_lost=booted_after(last))
        housekeeping, schedules = Housekeeping(writer), Schedules(writer)
        feeds, webhooks = Feeds(writer), Webhooks(writer, self.options.folder)
        try:
            if state.digest:
                await writer.submit(Recover(SERVICE, last))
            await self._configure(writer, self._loaded)
            outputs.start()
            simulated.begin(writer.state)
            housekeeping.start()
            schedules.start(last)
            webhooks.start()
            feeds.start()
            await self._listen(writer, simulated, outputs=outputs, bench=self._bench, feeds=feeds, webhooks=webhooks)
        finally:
            housekeeping.stop()
            schedules.stop()
            await feeds.stop()
            await webhooks.stop()
            simulated.stop()
            await self._rest(writer, outputs)
            writer.save_snapshot()
            await writer.stop()

    async def _rest(self, writer: Writer, outputs: Outputs) -> None:
        """What moves stops before the service does."""
        with contextlib.suppress(RoomlinkError):
            await writer.submit(StopMotion(SERVICE, "the service stops"))
        await outputs.stop()

    async def _configure(self, writer: Writer, loaded: Loaded) -> None:
        if loaded.digest != writer.state.digest:
            await writer.submit(Configure(SERVICE, loaded.data, loaded.digest))

    async def reload(self, writer: Writer) -> None:
        """Read the folder again: taken without dropping a panel, or refused whole and told."""
        try:
            loaded = await asyncio.to_thread(load, self.options.folder, self._rules)
            if loaded.spec.id != self._loaded.spec.id:
                log.error("reload refused", error=f"the folder is of another venue, {loaded.spec.id}")
                return
            await self._configure(writer, loaded)
            self._loaded = loaded
            log.info("reloaded", digest=loaded.digest[:12])
        except VenueFault as fault:
            for finding in fault.findings:
                log.error("reload refused", finding=str(finding))
        except RoomlinkError as error:
            log.error("reload refused", error=str(error))

    async def _listen(self, writer: Writer, simulated: SimulatedWalls, **more: object) -> None:
        bound = bind(self.options.host, self.options.port)
        config = server_config(writer, simulated, folder=self.options.folder, **more)
        self._server = Server(config, address(self.options.host, bound))
        loop = asyncio.get_running_loop()
        reloads: set[asyncio.Task[None]] = set()

        def hang_up() -> None:
            task = loop.create_task(self.reload(writer))
            reloads.add(task)
            task.add_done_callback(reloads.discard)

        loop.add_signal_handler(signal.SIGHUP, hang_up)
        try:
            await self._server.serve(sockets=[bound])
        finally:
            loop.remove_signal_handler(signal.SIGHUP)
            bound.close()


def server_config(writer: Writer, simulated: SimulatedWalls, **state: Any) -> uvicorn.Config:
    """How uvicorn serves the application: one process, one loop, bounds on everything."""
    return uvicorn.Config(
        application(writer, simulated, **state),
        http="httptools",
        ws="websockets-sansio",
        ws_max_size=limits.MESSAGE_BYTES_MAX,
        ws_per_message_deflate=False,
        ws_ping_interval=PING_S,
        ws_ping_timeout=PING_S,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=SHUTDOWN_S,
    )


def booted_after(stamp: float) -> bool:
    """Whether the machine started after ``stamp``: then the power was off, most likely the devices' too."""
    return 0.0 < stamp < time.time() - time.clock_gettime(time.CLOCK_BOOTTIME)


class Server(uvicorn.Server):
    """uvicorn's server that says on standard output where it listens, once it does."""

    def __init__(self, config: uvicorn.Config, address: str) -> None:
        super().__init__(config)
        self._address = address

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        sys.stdout.write(self._address + "\n")
        sys.stdout.flush()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        app: Any = self.config.app
        app.state.streams.end()
        await super().shutdown(sockets)

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """As uvicorn's, but the signal is not raised once more at the end: the journal has yet to be closed."""
        loop = asyncio.get_running_loop()
        for one in STOP_SIGNALS:
            loop.add_signal_handler(one, self.handle_exit, one, None)
        try:
            yield
        finally:
            for one in STOP_SIGNALS:
                loop.remove_signal_handler(one)


def address(host: str, bound: socket.socket) -> str:
    """Where a browser finds it."""
    return f"http://{f'[{host}]' if ':' in host else host}:{bound.getsockname()[1]}"


def bind(host: str, port: int) -> socket.socket:
    """A listening socket; port 0 takes a free one. Raises OSError with the address in its text."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named, asyncio turns off the waiting of small writes (Nagle) on what is accepted.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        raise OSError(error.errno, f"cannot listen on {host} port {port}: {error.strerror}") from None
    bound.setblocking(False)
    return bound
