"""Clients at the other end of simulated sockets: the service's own ``Connection`` serves them, message by message.

A client keeps a picture as a panel does: the welcome, and the changes merged into it. It may stop reading, fall silent
without a word, close, and come back with what it knew.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any, cast

import orjson
from starlette.applications import Starlette
from starlette.websockets import WebSocket

from roomlink.api.socket import Connection
from roomlink.api.wire import EXTENSION, WAITING_BYTES_MAX
from roomlink.core.act import HELD
from roomlink.limits import HOLD_SIGN_INTERVAL_S
from roomlink.runtime.framing import framed
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualTimer
from roomlink.testing.loop import StillLoop

PING_S = 10.0
"""After so long without a sign the server's pings have found out that nobody is there."""
Data = dict[str, Any]


@dataclass
class Client:
    """One browser: it outlives its sockets, and the service."""

    name: str
    controller: str | None
    """None watches everything."""
    reads: bool = True
    alive: bool = True
    """False once it vanished: nothing comes from it any more, and nobody has told the service."""
    picture: Data | None = None
    seq: int = 0
    journal: str = ""
    holder: str = ""
    """The name under which the service knows whoever holds something here."""
    holds: set[str] = field(default_factory=set)
    """What a finger is on, as this client believes."""
    ended: str | None = None
    """What the service said last, before it closed."""
    line: Line | None = None
    vanished: float = 0.0

    def hear(self, message: Data) -> None:
        kind = message["type"]
        if kind == "welcome":
            # A resumed one brings nothing yet: the change that follows does, and may never come.
            if not message["resumed"]:
                self.picture = {k: v for k, v in message.items() if k not in _HEAD}
                self.seq, self.journal = message["seq"], message["journal"]
            self.holder = message.get("holder", self.holder)
        elif kind == "change":
            assert self.picture is not None, "a change came before a welcome"
            merge(self.picture, message)
            self.seq = message["seq"]
        elif kind == "let-go":
            self.holds.discard(message["control"])
        elif kind == "bye":
            self.ended = message["why"]


_HEAD = ("type", "seq", "at", "resumed", "journal", "holder")
_WHOLE = ("groups", "leads", "one_way", "microphones", "overrides", "locks", "alarms", "scenes")


def merge(picture: Data, change: Data) -> None:
    """Bring a picture up to date, as the panel kit's store does."""
    if "controller" in change:
        _merge_face(picture["controller"], change["controller"])
    for name, part in change.get("controllers", {}).items():
        _merge_face(picture["controllers"][name], part)
    for name, part in change.get("zones", {}).items():
        zone = picture["zones"][name]
        controls = {**zone.get("controls", {}), **part.get("controls", {})}
        zone.update(part)
        if controls:
            zone["controls"] = controls
    picture["partitions"].update(change.get("partitions", {}))
    for part in _WHOLE:
        if part in change:
            picture[part] = change[part]


def _merge_face(face: Data, part: Data) -> None:
    # With the links come all controls that there are through them.
    controls = {**({} if "links" in part else face["controls"]), **part.get("controls", {})}
    face.update(part)
    face["controls"] = controls


class Line:
    """The connection of a client to the service: what ``Connection`` asks of ``api.wire.Wire`` and of a socket."""

    def __init__(self, client: Client, writer: Writer, app: Starlette, loop: StillLoop) -> None:
        self.client = client
        self.transport = self
        self.closing = False
        self.has_room = True
        self.silent_s = 0.0
        self.reads = 0
        self.scope = {"extensions": {EXTENSION: {"wire": self}}}
        self.app = app
        self.state = SimpleNamespace()
        self._clock, self._loop = writer.clock, loop
        self._unread: deque[bytes] = deque()
        self._unsent: deque[tuple[str, float]] = deque()
        self._held_back = False
        self._sign: VirtualTimer | None = None
        self._live: Connection | None = None
        client.line = self
        after = (client.seq, client.journal) if client.picture is not None else None
        connection = Connection(cast(WebSocket, _Socket(self)), writer, client.controller, app.state.sockets)
        loop.create_task(connection.run(after))

    @property
    def up_to_date(self) -> bool:
        """Whether the client has read everything that was written for it."""
        there = self.client.reads and self.client.alive and self.has_room
        return there and self._live is not None and not self._unread and not self.closing

    # As the wire.

    def attach(self, live: Connection) -> None:
        self._live = live

    def write(self, data: bytes | tuple[bytes, ...]) -> None:
        self._unread.append(framed(data) if isinstance(data, tuple) else data)
        if self.client.reads and self.client.alive:
            self.read()
        elif sum(map(len, self._unread)) > WAITING_BYTES_MAX and self.has_room:
            self.has_room = False
            if self._live is not None:
                self._live.full()

    def hold_back(self, yes: bool) -> None:
        self._held_back = yes
        if self._unsent and not yes:
            self._loop.call_soon(self._read_on)

    def _read_on(self) -> None:
        self.reads += 1
        while self._unsent and not self._held_back and self._live is not None and not self.closing:
            text, sent = self._unsent.popleft()
            self._live.heard(text, self._clock.stamp() - sent)

    def closed(self) -> None:
        """The service has closed it."""
        self.closing = True
        if self.client.line is self:
            self.client.line = None
            self.client.holds.clear()

    # As the client.

    def read(self) -> None:
        """Take what waits, and what comes as soon as there is room again."""
        while self._unread:
            for message in messages(self._unread.popleft()):
                self.client.hear(message)
        if not self.has_room:
            self.has_room = True
            if self._live is not None:
                self._live.room()

    def say(self, message: Data) -> None:
        if self._live is None or self.closing or not self.client.alive:
            return
        if message["type"] == "act" and message["do"] in HELD:
            self.client.holds.add(message["control"])
            self._sign_soon()
        elif message["type"] == "act" and message["do"] in ("release", "stop"):
            self.client.holds.discard(message["control"])
        self._send(orjson.dumps(message).decode())

    def close(self) -> None:
        """The browser is closed, or the network says that it is gone."""
        self.closed()
        if self._live is not None:
            self._live.gone()

    def _send(self, text: str) -> None:
        assert self._live is not None
        if self._held_back or self._unsent:
            self._unsent.append((text, self._clock.stamp()))
        else:
            self.reads += 1
            self._live.heard(text)

    def _sign_soon(self) -> None:
        if self._sign is None or not self._sign.waits:
            at = self._clock.stamp() + HOLD_SIGN_INTERVAL_S
            self._sign = cast(VirtualTimer, self._clock.call_at(at, self._sign_of_life))

    def _sign_of_life(self) -> None:
        if self.client.holds and self.client.alive and not self.closing:
            self._send('{"type":"holding"}')
            self._sign_soon()


class _Socket:
    """The Starlette side of a line: who asks, and how it is closed."""

    def __init__(self, line: Line) -> None:
        self.scope, self.app, self.state = line.scope, line.app, line.state
        self.client = SimpleNamespace(host=line.client.name)
        self._line = line

    async def close(self, code: int, why: str = "") -> None:
        self._line.closed()


def messages(data: bytes) -> Iterator[Data]:
    """The text messages in what a server wrote (RFC 6455 §5.2, unmasked, whole)."""
    place = 0
    while place < len(data):
        assert data[place] == 0x81, "not a whole text message"
        size, place = data[place + 1], place + 2
        if size >= 126:
            wide = 2 if size == 126 else 8
            size, place = int.from_bytes(data[place : place + wide]), place + wide
        yield orjson.loads(data[place : place + size])
        place += size
