"""The service put together: one venue, its journal, its writer, its faces on one port."""

from __future__ import annotations

import asyncio
import signal
import ssl
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import structlog
import uvicorn

from roomlink.api.access import LOOPBACK
from roomlink.api.door import room_for_connections
from roomlink.api.identity import OPEN_TO_ALL, SignIn
from roomlink.core import people
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure, Recover, ReportTrouble
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
from roomlink.runtime.codes import EngineerCode
from roomlink.runtime.device_rules import DriverRules
from roomlink.runtime.duties import Duties
from roomlink.runtime.keeping import Keeping
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.notify import Supervisor
from roomlink.runtime.writer import Writer
from roomlink.serving import Server, address, asked_for, bind, cannot_use, say_code, server_config
from roomlink.venue.load import Loaded, load

log = structlog.get_logger("roomlink")

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
        everywhere = self.host in ("0.0.0.0", "::")
        return tuple(dict.fromkeys((*LOOPBACK, *self.names, *(() if everywhere else (own,)))))


class Service:
    """One venue being served. ``run`` returns when it was told to stop."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self._bench = Bench()
        self._registry = Registry.of(simulated_driver(self._bench))
        self._rules = DriverRules(self._registry)
        self._loaded = load(options.folder, self._rules)
        self._server: Server | None = None
        self._writer: Writer | None = None
        self._running: asyncio.Task[Any] | None = None
        self._reloads: set[asyncio.Task[None]] = set()
        self._supervisor = Supervisor()

    async def run(self) -> None:
        """Serve until ``stop``. Raises what keeps it from starting, before the port is opened."""
        self._running = asyncio.current_task()
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
        # What is in it opens nothing, but password hashes are nobody else's business.
        self.options.data.mkdir(mode=0o700, parents=True, exist_ok=True)
        journal = SqliteJournal(self.options.data / backup.JOURNAL, self._loaded.spec.id)
        backup.sweep(self.options.data)
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
        writer.metrics.writes(self._loaded.spec.id, lambda: not writer.stopped)
        writer.start()
        duties = self._duties(writer)
        keeping = Keeping(writer)
        try:
            if state.digest:
                await writer.submit(Recover(SERVICE, last))
            await self._configure(writer, self._loaded)
            # So that one which is killed again and again has no more to replay each time.
            writer.save_snapshot()
            keeping.begin()
            writer.surely(ReportTrouble(SERVICE, RELOAD))
            writer.surely(ReportTrouble(SERVICE, "clock", clock_words(behind)))
            duties.begin(last, power_was_lost=booted_after(last))
            await self._listen(writer, duties)
        finally:
            await duties.end()
            writer.save_snapshot()
            if not (whole := await writer.stop(DISK_S)):
                log.error("the disk hangs", error=f"it took nothing for {DISK_S:g} s; what is acknowledged is safe")
        return whole

    def _duties(self, writer: Writer) -> Duties:
        for problem in self._registry.problems:
            log.warning("driver", problem=problem)
        kept_s = lambda: self._loaded.data.get("journal", {}).get("keep_s")  # noqa: E731 - read anew after a reload
        return Duties(writer, self._registry, self.options.folder, kept_s)

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

    async def _listen(self, writer: Writer, duties: Duties, **more: object) -> None:
        """Serve on the port until ``stop``."""
        options = self.options
        identity = OPEN_TO_ALL if options.open else SignIn(writer)
        room_for_connections()
        bound = bind(options.host, options.port)
        config = server_config(
            writer, duties.simulated, tls=options.tls, behind_proxy=options.behind_proxy, hosts=options.hosts,
            identity=identity, folder=options.folder, bench=self._bench, data=options.data,
            outputs=duties.outputs, feeds=duties.feeds, webhooks=duties.webhooks, lookout=duties.lookout, **more,
        )  # fmt: skip
        try:
            config.load()
        except OSError as error:
            bound.close()
            raise OSError(cannot_use(options.tls, error)) from None
        self._server = Server(config, address(options.host, bound, secure=options.tls is not None), self._supervisor)
        self._writer = writer
        if isinstance(identity, SignIn) and (options.new_engineer or not people.has_engineer(writer.state)):
            at = asked_for(self._server.address, options.names, behind_proxy=options.behind_proxy)
            say_code(identity.engineer_code.make(), at)
            if not options.new_engineer:
                writer.hooks.append(lambda _: _drop_needless(identity.engineer_code, writer))
        try:
            await self._server.serve(sockets=[bound])
        finally:
            self._server = None
            bound.close()

    def stop(self) -> None:
        """End in good order; ``run`` returns soon."""
        if self._server is not None:
            self._server.end()
        elif self._running is not None:
            self._running.cancel()

    def hang_up(self) -> None:
        """Read the folder and the certificate again, while it is being served."""
        if self._server is None or self._writer is None:
            return
        self._renew_certificate(self._server.config)
        task = asyncio.get_running_loop().create_task(self.reload(self._writer))
        self._reloads.add(task)
        task.add_done_callback(self._reloads.discard)

    def _renew_certificate(self, config: uvicorn.Config) -> None:
        """Take a new certificate from the same files, for connections from now on; a wrong one is told and left."""
        if self.options.tls is not None and config.ssl is not None:
            try:
                # Tried apart first: half a new pair must not take the place of a whole old one.
                ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(*self.options.tls)
                config.ssl.load_cert_chain(*self.options.tls)
            except OSError as error:
                log.error("certificate not taken", error=cannot_use(self.options.tls, error), used="the one before")


def _drop_needless(code: EngineerCode, writer: Writer) -> None:
    """Of several nodes each shows a code, and one of them is used: then the others are good for nothing."""
    if people.has_engineer(writer.state):
        code.drop()


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


async def run(services: Sequence[Service]) -> None:
    """Run venues in this process until SIGTERM or SIGINT; SIGHUP has all read their folders again."""
    loop = asyncio.get_running_loop()

    def stop() -> None:
        for service in services:
            service.stop()

    def hang_up() -> None:
        for service in services:
            service.hang_up()

    for one in STOP_SIGNALS:
        loop.add_signal_handler(one, stop)
    loop.add_signal_handler(signal.SIGHUP, hang_up)
    try:
        await asyncio.gather(*(service.run() for service in services))
    finally:
        for one in (*STOP_SIGNALS, signal.SIGHUP):
            loop.remove_signal_handler(one)
