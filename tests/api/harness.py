"""A venue to serve, the service in this process or in one of its own, and clients that speak to it."""

from __future__ import annotations

import asyncio
import json
import queue
import subprocess
import sys
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from websockets.asyncio.client import ClientConnection, connect

from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure, ReportWall
from roomlink.core.state import State
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Journal
from roomlink.journal.recovery import fold
from roomlink.runtime.clock import Clock, SystemClock
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.writer import Writer
from roomlink.serving import bind, server_config
from roomlink.venue.load import Loaded, load

HARBOUR = """
venue: {id: harbour, name: Harbour Hall, timezone: America/Halifax}
zone_types:
  section:
    controls:
      program: {kind: choice, options: [lectern, laptop], gap: 300ms}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: -30, tolerance: 0.5}
      mute: {kind: switch, start: on}
      house: {kind: level, unit: "%", range: [0, 100], travel: 3s, start: 70, scope: local}
      talkback: {kind: momentary}
  lobby:
    controls:
      mute: {kind: switch, start: off}
zones:
  heron: {type: section}
  plover: {type: section}
  tern: {type: section}
  foyer: {type: lobby}
partitions:
  heron-plover: {between: [heron, plover], settle: 2s}
  plover-tern: {between: [plover, tern], settle: 0s}
  tern-heron: {between: [tern, heron], settle: 1s, contacts: simulated}
controllers:
  heron-wall: {home: heron}
  plover-wall: {home: plover}
  tern-wall: {home: tern}
  foyer-wall: {home: foyer, reach: [foyer]}
combining:
  lead_order: [heron-wall, plover-wall, tern-wall]
  others: mirror
  blend: 1s
  on_combine: {volume: quietest, mute: lead}
  on_separate: {volume: restore, mute: keep}
occupancy:
  - {zones: [heron], posted: 160}
  - {zones: [plover], posted: 160}
  - {zones: [tern], posted: 160}
  - {zones: [foyer], posted: 60}
  - {zones: [heron, plover], posted: 330}
  - {zones: [plover, tern], posted: 330}
  - {zones: [tern, heron], posted: 330}
  - {zones: [heron, plover, tern], posted: 500}
scenes:
  dinner: {type: section, values: {volume: -38, mute: off, program: laptop}}
"""

WITHIN_S = 5.0
"""What does not come within this time does not come: a bound for waiting, never a pause."""

Data = dict[str, Any]


def write_venue(folder: Path, text: str = HARBOUR) -> Path:
    """A folder with this venue, as ``serve`` takes it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "venue.yaml").write_text(text, encoding="utf-8")
    return folder


async def quiet(writer: Writer) -> None:
    """Wait until everything that was decided is durable or lost, and told."""
    async with asyncio.timeout(WITHIN_S):
        while writer.engine.head != writer.engine.seq:  # noqa: ASYNC110 - the writer needs no event for this
            await asyncio.sleep(0.001)


def dial(url: str, path: str, **options: Any) -> connect:
    """A socket to be opened; nothing that comes is left in the kernel, so that closing needs nobody to read."""
    usual: Data = {"subprotocols": ["roomlink.v1"], "compression": None, "open_timeout": WITHIN_S, "max_queue": None}
    return connect(f"ws{url.removeprefix('http')}/api/v1{path}", **{**usual, **options})


class Panel:
    """The other end of a live socket: JSON in and out, and a fence to wait for what was sent before it."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket
        self.heard: list[Data] = []
        """Everything that came, oldest first."""

    async def next(self) -> Data:
        """The next message."""
        data: Data = json.loads(await asyncio.wait_for(self.socket.recv(), WITHIN_S))
        self.heard.append(data)
        return data

    async def until(self, kind: str, name: Any = ...) -> Data:
        """The next message of this type (and id); what comes before it is in ``heard``."""
        while True:
            data = await self.next()
            if data["type"] == kind and (name is ... or data.get("id") == name):
                return data

    async def send(self, **message: Any) -> None:
        await self.socket.send(json.dumps(message))

    async def act(self, control: str, do: str, name: Any = "a", **more: Any) -> Data:
        """Act, and wait for the answer: ``ok`` or ``problem``."""
        await self.send(type="act", id=name, control=control, do=do, **more)
        while True:
            data = await self.next()
            if data["type"] in ("ok", "problem") and data.get("id") == name:
                return data

    async def fence(self) -> list[Data]:
        """All messages that were on their way, without waiting for time to pass: an answer comes behind them."""
        await self.send(type="fence", id="fence")
        start = len(self.heard)
        await self.until("problem", "fence")
        return self.heard[start:-1]

    def changes(self) -> list[Data]:
        return [message for message in self.heard if message["type"] == "change"]


class Running:
    """The service in this process: its writer to look into, its port to talk to."""

    def __init__(self, url: str, writer: Writer, simulated: SimulatedWalls, loaded: Loaded) -> None:
        self.url = url
        self.writer = writer
        self.simulated = simulated
        self.loaded = loaded
        self.identity: Any = None
        """What tells who asks."""
        self.http = httpx.AsyncClient(base_url=url + "/api/v1", timeout=WITHIN_S, verify=False)

    async def settled(self) -> None:
        """Wait until everything that was decided is durable and told."""
        await quiet(self.writer)

    async def advance(self, seconds: float) -> None:
        """Let time pass on the virtual clock, and let everything that it brings become durable."""
        clock: Any = self.writer.clock
        clock.advance(seconds)
        await asyncio.sleep(0)
        await self.settled()

    async def configure(self, loaded: Loaded) -> None:
        """What a reload does with a sound folder."""
        await self.writer.submit(Configure(SERVICE, loaded.data, loaded.digest))

    def socket(self, path: str, **options: Any) -> connect:
        """A bare socket to a path under the base, without any greeting read."""
        return dial(self.url, path, **options)

    @asynccontextmanager
    async def panel(self, controller: str = "heron-wall", query: str = "") -> AsyncIterator[Panel]:
        """An open panel; its welcome is the first in ``heard``."""
        async with self.socket(f"/panels/{controller}{query}") as socket:
            panel = Panel(socket)
            await panel.next()
            yield panel

    @asynccontextmanager
    async def watch(self, query: str = "") -> AsyncIterator[Panel]:
        async with self.socket(f"/watch{query}") as socket:
            panel = Panel(socket)
            await panel.next()
            yield panel


@asynccontextmanager
async def running(
    folder: Path,
    *,
    journal: Journal | None = None,
    clock: Clock | None = None,
    parts: Callable[[Writer], Data] | None = None,
) -> AsyncIterator[Running]:
    """Serve ``folder`` on a free port, as ``serve`` does; everything is stopped at the end.

    ``parts`` makes what the application's state has besides; whoever gives it starts and stops them.
    """
    loaded = load(folder)
    journal = journal or MemoryJournal()
    state, seq, last = fold(journal, empty=State, apply=apply)
    clock = clock or SystemClock()
    if isinstance(clock, SystemClock):
        clock.anchor(last)
    writer = Writer(state, seq, journal, clock, Metrics())
    writer.start()

    def report(command: ReportWall) -> None:
        writer.put(command).add_done_callback(lambda done: done.exception())

    simulated = SimulatedWalls(clock, report)
    if loaded.digest != state.digest:
        await writer.submit(Configure(SERVICE, loaded.data, loaded.digest))
    server = uvicorn.Server(server_config(writer, simulated, **(parts(writer) if parts else {})))
    server.config.load()
    server.lifespan = server.config.lifespan_class(server.config)
    bound = bind("127.0.0.1", 0)
    await server.startup(sockets=[bound])
    service = Running(f"http://127.0.0.1:{bound.getsockname()[1]}", writer, simulated, loaded)
    application: Any = server.config.app
    service.identity = application.state.identity
    try:
        yield service
    finally:
        await service.http.aclose()
        await stop(server)
        bound.close()
        simulated.stop()
        await writer.stop()


async def stop(server: uvicorn.Server) -> None:
    """As uvicorn's own shutdown, without its naps."""
    for listening in server.servers:
        listening.close()
    for connection in list(server.server_state.connections):
        connection.shutdown()
    async with asyncio.timeout(WITHIN_S):
        while server.server_state.connections or server.server_state.tasks:  # noqa: ASYNC110 - it has no event
            await asyncio.sleep(0.002)


class NotStarted(Exception):
    """A service ended before it listened; with its exit status and what it said on standard error."""

    def __init__(self, status: int, said: str) -> None:
        super().__init__(f"exit status {status}: {said}")
        self.status = status
        self.said = said


class Served:
    """The service in a process of its own, started as a person would start it."""

    def __init__(
        self, folder: Path, data: Path | None = None, *more: str, sign_in: bool = False, also: Sequence[Path] = ()
    ) -> None:
        kept = (*(() if data is None else ("--data", str(data))), *(() if sign_in else ("--open",)))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "roomlink", "serve", str(folder), *map(str, also), "--port", "0", *kept, *more],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.log: list[str] = []
        """What it wrote on standard error."""
        self.said: list[str] = []
        """What it wrote on standard output."""
        self._first: queue.Queue[str] = queue.Queue()
        self._readers = [
            threading.Thread(target=self._read, args=(self.process.stdout, self.said)),
            threading.Thread(target=self._read, args=(self.process.stderr, self.log)),
        ]
        for reader in self._readers:
            reader.start()
        self.url = self._first.get(timeout=20.0)
        if not self.url:
            raise NotStarted(self.wait(), "".join(self.log))

    def _read(self, pipe: Any, lines: list[str]) -> None:
        for line in pipe:
            lines.append(line)
            if lines is self.said and len(lines) == 1:
                self._first.put(line.strip())
        if lines is self.said:
            self._first.put("")

    def signal(self, number: int) -> None:
        self.process.send_signal(number)

    def wait(self) -> int:
        """Wait for its end; gives the exit status."""
        status = self.process.wait(timeout=15.0)
        for reader in self._readers:
            reader.join(timeout=5.0)
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()
        return status

    def stop(self) -> None:
        """End it if it still runs; called for every service that a test started."""
        if self.process.poll() is None:
            self.process.kill()
        self.wait()

    def socket(self, path: str, **options: Any) -> connect:
        return dial(self.url, path, **options)

    @asynccontextmanager
    async def panel(self, controller: str = "heron-wall") -> AsyncIterator[Panel]:
        async with self.socket(f"/panels/{controller}") as socket:
            panel = Panel(socket)
            await panel.next()
            yield panel

    def get(self, path: str) -> Any:
        return httpx.get(f"{self.url}/api/v1{path}", timeout=WITHIN_S).raise_for_status().json()

    def call(self, method: str, path: str, body: Any = None) -> Any:
        answer = httpx.request(method, f"{self.url}/api/v1{path}", json=body, timeout=WITHIN_S)
        return answer.raise_for_status().json()
