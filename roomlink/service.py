"""The service put together: one venue, its journal, its writer, its faces on one port."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import ssl
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import structlog
import uvicorn

from roomlink import limits
from roomlink.api.access import LOOPBACK
from roomlink.api.app import application
from roomlink.api.door import Door, room_for_connections
from roomlink.api.identity import OPEN_TO_ALL, SignIn
from roomlink.api.wire import Wire
from roomlink.core import people
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure, Recover, ReportTrouble, StopMotion
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver as simulated_driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import RoomlinkError, VenueFault
from roomlink.journal import backup
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Journal
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.device_rules import DriverRules
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.housekeeping import Housekeeping
from roomlink.runtime.keeping import Keeping
from roomlink.runtime.lag import LoopLag
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.notify import Supervisor
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
DISK_S = 5.0
"""How long stopping waits for a disk, twice: for the last entry, and for all that is on its way."""
RELOAD = "configuration"
"""The alarm that a changed folder was refused, and what was served before still is."""
STOP_SIGNALS = (signal.SIGTERM, signal.SIGINT)


@dataclass(frozen=True, slots=True)
class Options:
    """How to serve. ``data`` None: nothing is kept.

    ``names`` are hosts that browsers ask for, beside this machine's own. ``tls`` has the files of the certificate and
    its key. ``behind_proxy``: a proxy on this machine ends TLS, and tells where requests come from. ``new_engineer``
    asks for a code that makes an engineer, though there is one.
    """

    folder: Path
    host: str = "127.0.0.1"
    port: int = 8080
    data: Path | None = None
    open: bool = False
    names: tuple[str, ...] = ()
    tls: tuple[Path, Path] | None = None
    behind_proxy: bool = False
    new_engineer: bool = False

    @property
    def hosts(self) -> tuple[str, ...]:
        """The names in Host that mean this service."""
        own = f"[{self.host}]" if ":" in self.host else self.host
        return tuple(dict.fromkeys((*LOOPBACK, *self.names, own)))


class Service:
    """One venue being served. ``run`` returns when it was told to stop."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self._bench = Bench()
        self._registry = Registry.of(simulated_driver(self._bench))
        self._rules = DriverRules(self._registry)
        self._loaded = load(options.folder, self._rules)
        self._server: Server | None = None
        self._supervisor = Supervisor()

    async def run(self) -> None:
        """Serve until SIGTERM or SIGINT. Raises what keeps it from starting, before the port is opened."""
        journal = self._journal()
        whole = True
        try:
            whole = await self._serve(journal)
        finally:
            if whole:  # else its worker hangs in the disk, and closing would hang with it
                journal.close()

    def _journal(self) -> Journal:
        if self.options.data is None:
            return MemoryJournal()
        self.options.data.mkdir(parents=True, exist_ok=True)
        journal = SqliteJournal(self.options.data / backup.JOURNAL, self._loaded.spec.id)
        backup.remember_served(self.options.data, self.options.folder)
        return journal

    async def _serve(self, journal: Journal) -> bool:
        """Gives whether the journal was left so that it can be closed."""
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
        housekeeping = Housekeeping(writer, lambda: self._loaded.data.get("journal", {}).get("keep_s"))
        keeping, schedules = Keeping(writer), Schedules(writer)
        lag = LoopLag(writer)
        feeds, webhooks = Feeds(writer, self.options.folder), Webhooks(writer, self.options.folder)
        try:
            if state.digest:
                await writer.submit(Recover(SERVICE, last))
            await self._configure(writer, self._loaded)
            # So that one which is killed again and again has no more to replay each time.
            writer.save_snapshot()
            keeping.begin()
            writer.surely(ReportTrouble(SERVICE, RELOAD))
            writer.surely(ReportTrouble(SERVICE, "clock", clock_words(behind)))
            outputs.start()
            simulated.begin(writer.state)
            housekeeping.start()
            lag.start()
            schedules.start(last)
            webhooks.start()
            feeds.start()
            more = {"feeds": feeds, "webhooks": webhooks, "data": self.options.data}
            await self._listen(writer, simulated, outputs=outputs, bench=self._bench, **more)
        finally:
            lag.stop()
            housekeeping.stop()
            schedules.stop()
            await feeds.stop()
            await webhooks.stop()
            simulated.stop()
            await self._rest(writer, outputs)
            writer.save_snapshot()
            if not (whole := await writer.stop(DISK_S)):
                log.error("the disk hangs", error=f"it took nothing for {DISK_S:g} s; what is acknowledged is safe")
        return whole

    async def _rest(self, writer: Writer, outputs: Outputs) -> None:
        """What moves stops before the service does."""
        with contextlib.suppress(RoomlinkError, TimeoutError):
            # The outputs act on it at once; only the record waits for the disk, and that not for ever.
            await asyncio.wait_for(writer.submit(StopMotion(SERVICE, "the service stops")), DISK_S)
        await outputs.stop()

    async def _configure(self, writer: Writer, loaded: Loaded) -> None:
        if loaded.digest != writer.state.digest:
            await writer.submit(Configure(SERVICE, loaded.data, loaded.digest))

    async def reload(self, writer: Writer) -> None:
        """Read the folder again: taken without dropping a panel, or refused whole and told."""
        self._supervisor.reloading()
        try:
            loaded = await asyncio.to_thread(load, self.options.folder, self._rules)
            if loaded.spec.id != self._loaded.spec.id:
                self._refused(writer, [f"the folder is of another venue, {loaded.spec.id}"])
                return
            await self._configure(writer, loaded)
            self._loaded = loaded
            writer.surely(ReportTrouble(SERVICE, RELOAD))
            log.info("reloaded", digest=loaded.digest[:12])
        except VenueFault as fault:
            self._refused(writer, [str(finding) for finding in fault.findings])
        except RoomlinkError as error:
            self._refused(writer, [str(error)])
        finally:
            self._supervisor.ready()

    def _refused(self, writer: Writer, why: list[str]) -> None:
        for one in why:
            log.error("reload refused", error=one)
        more = f", and {len(why) - 1} more: `roomlink check` tells all" if len(why) > 1 else ""
        text = f"the changed configuration was refused, and the one before goes on: {why[0]}{more}"
        writer.surely(ReportTrouble(SERVICE, RELOAD, text))

    async def _listen(self, writer: Writer, simulated: SimulatedWalls, **more: object) -> None:
        options = self.options
        identity = OPEN_TO_ALL if options.open else SignIn(writer)
        room_for_connections()
        bound = bind(options.host, options.port)
        config = server_config(
            writer, simulated, tls=options.tls, behind_proxy=options.behind_proxy, hosts=options.hosts,
            identity=identity, folder=options.folder, **more,
        )  # fmt: skip
        try:
            config.load()
        except OSError as error:
            bound.close()
            raise OSError(f"the certificate or its key cannot be used: {error}") from None
        self._server = Server(config, address(options.host, bound, secure=options.tls is not None), self._supervisor)
        if isinstance(identity, SignIn) and (options.new_engineer or not people.has_engineer(writer.state)):
            say_code(identity.engineer_code.make())
        loop = asyncio.get_running_loop()
        reloads: set[asyncio.Task[None]] = set()

        def hang_up() -> None:
            self._renew_certificate(config)
            task = loop.create_task(self.reload(writer))
            reloads.add(task)
            task.add_done_callback(reloads.discard)

        loop.add_signal_handler(signal.SIGHUP, hang_up)
        try:
            await self._server.serve(sockets=[bound])
        finally:
            loop.remove_signal_handler(signal.SIGHUP)
            bound.close()


    def _renew_certificate(self, config: uvicorn.Config) -> None:
        """Take a new certificate from the same files, for connections from now on; a wrong one is told and left."""
        if self.options.tls is not None and config.ssl is not None:
            try:
                # Tried apart first: half a new pair must not take the place of a whole old one.
                ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(*self.options.tls)
                config.ssl.load_cert_chain(*self.options.tls)
            except OSError as error:
                log.error("certificate not taken", error=str(error))


def say_code(code: str) -> None:
    """Tell whoever started the service the code for the first engineer: on the terminal, and in no log's fields."""
    sys.stderr.write(
        f"\n  The code to make an engineer: {code}\n"
        "  Open /sign-in and give it with a name and a password. It is good once, until the service stops.\n\n"
    )
    sys.stderr.flush()


def server_config(
    writer: Writer,
    simulated: SimulatedWalls,
    *,
    tls: tuple[Path, Path] | None = None,
    behind_proxy: bool = False,
    **state: Any,
) -> uvicorn.Config:
    """How uvicorn serves the application: one process, one loop, bounds on everything.

    What a request says of whom it was forwarded for is believed only behind a proxy, and only from this machine.
    """
    cert, key = tls or (None, None)
    return uvicorn.Config(
        application(writer, simulated, **state),
        http=Door,
        ws=Wire,
        ws_max_size=limits.MESSAGE_BYTES_MAX,
        ws_per_message_deflate=False,
        ws_ping_interval=PING_S,
        ws_ping_timeout=PING_S,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        proxy_headers=behind_proxy,
        forwarded_allow_ips=["127.0.0.1", "::1"],
        ssl_certfile=cert,
        ssl_keyfile=key,
        timeout_graceful_shutdown=SHUTDOWN_S,
    )


def clock_words(behind_s: float) -> str:
    """What to say of a wall clock that lies so many seconds behind the journal; nothing where it hardly does."""
    if behind_s <= 1.0:
        return ""
    return (
        f"the clock of the machine lay {behind_s:.0f} s behind the newest entry of the journal when the service"
        " started: set it, and start the service again"
    )


def booted_after(stamp: float) -> bool:
    """Whether the machine started after ``stamp``: then the power was off, most likely the devices' too."""
    return 0.0 < stamp < time.time() - time.clock_gettime(time.CLOCK_BOOTTIME)


class Server(uvicorn.Server):
    """uvicorn's server that says on standard output, and to who started it, where and when it listens."""

    def __init__(self, config: uvicorn.Config, address: str, supervisor: Supervisor) -> None:
        super().__init__(config)
        self._address = address
        self._supervisor = supervisor

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        sys.stdout.write(self._address + "\n")
        sys.stdout.flush()
        self._supervisor.ready()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        app: Any = self.config.app
        app.state.writer.stopping = True
        self._supervisor.stopping()
        super().handle_exit(sig, frame)

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


def address(host: str, bound: socket.socket, *, secure: bool = False) -> str:
    """Where a browser finds it."""
    return f"http{'s' if secure else ''}://{f'[{host}]' if ':' in host else host}:{bound.getsockname()[1]}"


def bind(host: str, port: int) -> socket.socket:
    """A listening socket; port 0 takes a free one. Raises OSError with the address in its text."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named, asyncio turns off the waiting of small writes (Nagle) on what is accepted.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    # Inherited by what is accepted: news for a slow panel waits where it still merges, not in the kernel.
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.SEND_BUFFER_BYTES)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        raise OSError(error.errno, f"cannot listen on {host} port {port}: {error.strerror}") from None
    bound.setblocking(False)
    return bound
