"""The live sockets: a panel acts and shows one controller, a watcher sees everything and acts on nothing."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from functools import partial
from itertools import count
from typing import Any

import orjson
import structlog
from pydantic import ValidationError
from starlette.websockets import WebSocket, WebSocketDisconnect, WebSocketState

from roomlink import limits
from roomlink.api import access, models, problems
from roomlink.api.reading import position
from roomlink.core import view
from roomlink.core.act import HELD
from roomlink.core.checks import require
from roomlink.core.commands import Act, Actor, Command, LetGo, LinkZone, RecallScene, Unlink
from roomlink.core.events import Entry, HoldEnded
from roomlink.errors import BadRequest, CallerFault, RoomlinkError, UnknownName
from roomlink.runtime.holders import Holder
from roomlink.runtime.writer import Receipt, Writer

log = structlog.get_logger("roomlink")

SUBPROTOCOL = "roomlink.v1"
IN_FLIGHT_MAX = 32
"""Commands of one socket that wait for the disk at once; a flood is read no faster."""
UNREAD_MAX = 256
"""Messages that wait for a panel to read them, above which nothing more is read from it."""
CLOSE_GONE, CLOSE_UNREADABLE, CLOSE_TOO_LARGE, CLOSE_OUR_FAULT = 1001, 1003, 1009, 1011

_numbers = count(1)


async def panel(socket: WebSocket) -> None:
    """``/api/v1/panels/{controller}``"""
    await _serve(socket, socket.path_params["controller"])


async def watch(socket: WebSocket) -> None:
    """``/api/v1/watch``"""
    await _serve(socket, None)


async def _serve(socket: WebSocket, controller: str | None) -> None:
    venue: Writer = socket.app.state.writer
    try:
        _check(socket, venue, controller)
        after = _after(socket)
    except CallerFault as fault:
        venue.metrics.problem(fault.kind)
        await socket.send_denial_response(problems.response(fault))
        return
    offered = socket.scope.get("subprotocols", [])
    await socket.accept(SUBPROTOCOL if SUBPROTOCOL in offered else None)
    await Connection(socket, venue, controller, socket.app.state.sockets).run(after)


def _check(socket: WebSocket, venue: Writer, controller: str | None) -> None:
    access.refuse_foreign(socket.headers)
    offered = socket.scope.get("subprotocols", [])
    if offered and SUBPROTOCOL not in offered:
        raise BadRequest("bad-request", f"the subprotocol is {SUBPROTOCOL}, not {', '.join(offered)}")
    if controller is not None:
        require("controller", controller, venue.state.spec.controllers)


def _after(socket: WebSocket) -> tuple[int, str] | None:
    """The position that a panel knows, and of which journal."""
    text = socket.query_params.get("after")
    return None if text is None else (position("after", text), socket.query_params.get("journal", ""))


class Sockets:
    """The sockets that hold something, by holder: so that an entry costs those whose holds it ends and no others."""

    def __init__(self) -> None:
        self.holding: dict[str, Connection] = {}

    def heard(self, entry: Entry) -> None:
        """Tell the panels whose holds ended."""
        told = set()
        for event in entry.events:
            if isinstance(event, HoldEnded):
                connection = self.holding.get(event.hold.partition("/")[0])
                if connection is not None:
                    connection.hold_ended(event)
                    told.add(connection)
        for connection in told:
            connection.still_holds()


class Connection:
    """One socket: reads messages, sends what the hub has for it, and lets go when its holder falls silent."""

    def __init__(self, socket: WebSocket, venue: Writer, controller: str | None, sockets: Sockets) -> None:
        self._socket = socket
        self._venue = venue
        self._sockets = sockets
        self._controller = controller
        self._name = f"socket-{next(_numbers)}"
        self._actor = Actor(controller or "watcher", "panel", self._name)
        self._news = asyncio.Event()
        self._sends = True
        self._room = asyncio.Event()
        self._listener = venue.hub.join(controller, self._news.set)
        self._holder = Holder(venue.clock, lambda as_of: self._let_go(as_of, "no sign of life from the panel"))
        self._in_flight = 0

    async def run(self, after: tuple[int, str] | None) -> None:
        self._venue.metrics.listeners.inc()
        self._greet(after)
        sender = asyncio.create_task(self._send())
        try:
            await self._receive()
        finally:
            self._venue.hub.leave(self._listener)
            self._venue.metrics.listeners.dec()
            self._holder.released()
            if self._sockets.holding.pop(self._name, None):
                self._let_go(self._venue.clock.stamp(), "the panel's socket closed")
            sender.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await sender

    def _greet(self, after: tuple[int, str] | None) -> None:
        hub = self._venue.hub
        missed = None if after is None else hub.missed(*after)
        self._listener.push(hub.welcome(self._controller, resumed=missed is not None, holder=self._name))
        if missed is not None:
            self._listener.catch_up(missed)

    async def _send(self) -> None:
        try:
            await self._send_news()
        except (WebSocketDisconnect, RuntimeError):
            return  # it is gone, and the receiving side hears of it
        except Exception as bug:
            # A panel that hears nothing more must not believe that nothing happens.
            log.error("panel not served any more", holder=self._name, error=repr(bug))
            await self._close(CLOSE_OUR_FAULT, "something went wrong on our side; connect again")
        finally:
            self._sends = False
            self._room.set()

    async def _send_news(self) -> None:
        while self._controller is None or self._controller in self._venue.state.spec.controllers:
            await self._news.wait()
            self._news.clear()
            while (frame := self._listener.take()) is not None:
                await self._socket.send_text(frame.decode())
                self._room.set()
        # What the hub had for it last was a `bye`.
        await self._socket.close(CLOSE_GONE)

    async def _receive(self) -> None:
        while True:
            message = await self._socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            text = message.get("text")
            if text is None:
                await self._close(CLOSE_UNREADABLE, "messages are JSON text, not binary")
                return
            if len(text) > limits.MESSAGE_BYTES_MAX:
                await self._close(CLOSE_TOO_LARGE, f"a message has at most {limits.MESSAGE_BYTES_MAX} bytes")
                return
            self._holder.sign()
            self._take(text)
            while self._in_flight >= IN_FLIGHT_MAX or (self._sends and self._listener.waiting > UNREAD_MAX):
                self._room.clear()
                await self._room.wait()

    async def _close(self, code: int, why: str) -> None:
        with contextlib.suppress(RuntimeError):
            await self._socket.send_text(orjson.dumps({"type": "bye", "why": why}).decode())
            if self._socket.application_state is WebSocketState.CONNECTED:
                await self._socket.close(code, why)

    def _take(self, text: str) -> None:
        """One message: answered with ``ok`` once durable, or with a ``problem``."""
        name: int | str | None = None
        try:
            data = _parsed(text)
            found = data.get("id")
            name = found if isinstance(found, int | str) and not isinstance(found, bool) else None
            message = _validated(data)
            if isinstance(message, models.HoldingMessage):
                return
            if isinstance(message, models.AliveMessage):
                self._ok(name, Receipt(self._venue.engine.seq, {}))
                return
            done = self._venue.put(self._command(message))
        except RoomlinkError as error:
            self._problem(name, error)
            return
        holds = isinstance(message, models.ActMessage) and message.do in HELD
        if holds:
            # From now on and not from when it is durable: the socket may close before.
            self._sockets.holding[self._name] = self
            self._holder.holding()
        self._in_flight += 1
        done.add_done_callback(partial(self._answer, name, holds))

    def _command(self, message: models.Message) -> Command:
        controller = self._controller
        if controller is None:
            raise BadRequest("bad-request", "a watcher acts on nothing; open a panel's socket to act")
        if isinstance(message, models.ActMessage):
            given = "value" in message.model_fields_set
            m = message
            return Act(self._actor, m.control, m.do, controller, None, m.value, m.over, m.for_, given)
        if isinstance(message, models.LinkMessage):
            kind: Callable[..., Command] = LinkZone if message.type == "link" else Unlink
            return kind(self._actor, controller, message.zone)
        if isinstance(message, models.UnlinkAllMessage):
            return Unlink(self._actor, controller)
        assert isinstance(message, models.RecallMessage)
        return RecallScene(self._actor, message.scene, controller=controller, over=message.over)

    def _answer(self, name: int | str | None, holds: bool, done: asyncio.Future[Receipt]) -> None:
        # A callback of the future, not a task that awaits it: so answers come in the order of the commands.
        self._in_flight -= 1
        self._room.set()
        error = done.exception()
        if error is None:
            self._ok(name, done.result())
        else:
            assert isinstance(error, RoomlinkError)
            self._problem(name, error)
        if holds:
            self.still_holds()  # it may have been stored nowhere, or need no holding

    def _ok(self, name: int | str | None, receipt: Receipt) -> None:
        at = view.rfc3339(self._venue.clock.stamp())
        self._say({"type": "ok", "id": name, "seq": receipt.seq, "at": at, **receipt.reply})

    def _problem(self, name: int | str | None, error: RoomlinkError) -> None:
        self._venue.metrics.problem(error.kind if isinstance(error, CallerFault) else "our-fault")
        self._say({"type": "problem", "id": name, "problem": problems.members(error)})

    def _say(self, data: dict[str, Any]) -> None:
        self._listener.push(orjson.dumps(data))

    def hold_ended(self, event: HoldEnded) -> None:
        """Tell the panel when something it held was let go by somebody else."""
        if event.why != "released":
            control = event.hold.rpartition("/")[2]
            self._say({"type": "let-go", "control": control, "zones": event.zones, "why": event.why})

    def still_holds(self) -> None:
        """Where nothing is held any more, nobody need watch over it."""
        if not any(self._holds()):
            self._sockets.holding.pop(self._name, None)
            self._holder.released()

    def _holds(self) -> Iterator[bool]:
        # As decided, so that what was pressed just now counts; and as stored, in case that a release is lost yet.
        for state in (self._venue.engine.ahead, self._venue.state):
            yield from (hold.partition("/")[0] == self._name for hold in state.holds.live())

    def _let_go(self, as_of: float, why: str) -> None:
        self._venue.surely(LetGo(self._actor, self._name, as_of, why))


def _parsed(text: str) -> dict[str, Any]:
    try:
        data = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise BadRequest("bad-request", f"the message is no JSON: {error}") from None
    if not isinstance(data, dict):
        raise BadRequest("bad-request", "a message is a JSON object with a `type`")
    return data


def _validated(data: dict[str, Any]) -> models.Message:
    kind = data.get("type")
    model = models.MESSAGES.get(kind) if isinstance(kind, str) else None
    if model is None:
        raise UnknownName("type", str(kind), list(models.MESSAGES))
    try:
        found: models.Message = model.model_validate(data)
    except ValidationError as error:
        raise problems.of_validation(error) from None
    return found
