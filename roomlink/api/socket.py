"""The live sockets: a panel acts and shows one controller, a watcher sees everything and acts on nothing."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Iterator
from functools import partial
from itertools import count
from typing import Any

import orjson
import structlog
from pydantic import ValidationError
from starlette.websockets import WebSocket, WebSocketDisconnect

from roomlink import limits
from roomlink.api import access, identity, models, problems
from roomlink.api.identity import Rule
from roomlink.api.messages import command_of
from roomlink.api.reading import position
from roomlink.api.wire import EXTENSION, Wire
from roomlink.core import view
from roomlink.core.access import KeyRemoved, SessionEnded
from roomlink.core.act import HELD
from roomlink.core.checks import require
from roomlink.core.commands import Actor, Command, LetGo
from roomlink.core.events import Entry, HoldEnded
from roomlink.errors import BadRequest, CallerFault, Refused, RoomlinkError, UnknownName
from roomlink.runtime.cluster.presence import Presence
from roomlink.runtime.framing import framed
from roomlink.runtime.holders import Holder
from roomlink.runtime.lookout import Lookout
from roomlink.runtime.writer import Receipt, Writer

log = structlog.get_logger("roomlink")

SUBPROTOCOL = "roomlink.v1"
IN_FLIGHT_MAX = 4
"""Commands of one socket that wait for the disk at once; a flood is read no faster."""
AT_ONCE_MAX = 4
REST_S = 0.005
"""Of messages that do not wait for answers so many are taken at once, and then one in so long: a flood is slowed to
some 200 a second, and the others find one of its commands at work before theirs, not several."""
UNREAD_MAX = 256
"""Messages that wait for a panel to read them, above which nothing more is read from it."""
CLOSE_GONE, CLOSE_UNREADABLE, CLOSE_NOT_ALLOWED, CLOSE_TOO_LARGE, CLOSE_OUR_FAULT = 1001, 1003, 1008, 1009, 1011


async def panel(socket: WebSocket) -> None:
    """``/api/v1/panels/{controller}``"""
    await _serve(socket, socket.path_params["controller"], SOCKETS["/panels/{controller}"][1])


async def watch(socket: WebSocket) -> None:
    """``/api/v1/watch``"""
    await _serve(socket, None, SOCKETS["/watch"][1])


SOCKETS = {"/panels/{controller}": (panel, Rule("operate", panel=True)), "/watch": (watch, Rule("view"))}
"""Every live socket, and who may open it."""
_MESSAGE_RULES = {kind: Rule(role, panel=True) for kind, role in models.MESSAGE_ROLES.items()}


async def _serve(socket: WebSocket, controller: str | None, rule: Rule) -> None:
    venue: Writer = socket.app.state.writer
    try:
        _check(socket, venue, controller, rule)
        after = _after(socket)
    except CallerFault as fault:
        venue.metrics.problem(fault.kind)
        await socket.send_denial_response(problems.response(fault))
        return
    offered = socket.scope.get("subprotocols", [])
    await socket.accept(SUBPROTOCOL if SUBPROTOCOL in offered else None)
    await Connection(socket, venue, controller, socket.app.state.sockets).run(after)


def _check(socket: WebSocket, venue: Writer, controller: str | None, rule: Rule) -> None:
    access.refuse_foreign(socket.headers, secure=identity.is_secure(socket))
    identity.allow(identity.caller(socket), rule, socket.path_params)
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
        self.numbers = count(1)
        """Numbers for the names of those who hold."""
        self.known: dict[str, set[Connection]] = {}
        """By what their caller was known."""

    def overdue(self) -> None:
        """After a stall timers come late: whoever was silent for too long lets go before anything else is decided."""
        for connection in list(self.holding.values()):
            connection.overdue()

    def heard(self, entry: Entry) -> None:
        """Tell the panels whose holds ended, and close those that nobody stands behind any more."""
        told = set()
        for event in entry.events:
            if isinstance(event, SessionEnded | KeyRemoved):
                name = event.session if isinstance(event, SessionEnded) else event.key
                for known in list(self.known.get(name, ())):
                    known.not_allowed(event.why)
            if isinstance(event, HoldEnded):
                connection = self.holding.get(event.hold.partition("/")[0])
                if connection is not None:
                    connection.hold_ended(event)
                    told.add(connection)
        for connection in told:
            connection.still_holds()


class Connection:
    """One socket: takes messages, sends what the hub has for it, and lets go when its holder falls silent."""

    def __init__(self, socket: WebSocket, venue: Writer, controller: str | None, sockets: Sockets) -> None:
        self._socket = socket
        self._wire: Wire = socket.scope["extensions"][EXTENSION]["wire"]
        self._venue = venue
        self._sockets = sockets
        self._controller = controller
        # Of several nodes each names its sockets so that the writer can tell them apart.
        self._name = f"{socket.app.state.node}socket-{next(sockets.numbers)}"
        self._caller = identity.caller(socket)
        who = controller or "watcher" if self._caller.kind == identity.OPEN else self._caller.who
        self._actor = Actor(who, "panel", self._name, self._caller.where)
        self._listener = venue.hub.join(controller, self._send)
        self._holder = Holder(venue.clock, lambda as_of: self._let_go(as_of, "no sign of life from the panel"))
        self._inbox: deque[str | None] = deque()
        self._in_flight = 0
        self._taking = False
        self._in_a_row = 0
        """Messages taken since all that had come was answered."""
        self._read = 0
        """The reading of the wire in which the last message came."""
        self._rest: asyncio.TimerHandle | None = None
        self._end: asyncio.Future[tuple[int, str] | None] = asyncio.get_running_loop().create_future()
        """Done with a code and why once this end closes, with None once the other end has."""

    async def run(self, after: tuple[int, str] | None) -> None:
        self._venue.metrics.listeners.inc()
        known = self._sockets.known.setdefault(self._caller.credential, set())
        known.add(self)
        lookout: Lookout | None = self._socket.app.state.lookout
        try:
            if lookout is not None and self._controller is not None:
                lookout.came(self._controller)
            self._greet(after)
            self._wire.attach(self)
            if not self._socket.app.state.identity.standing(self._caller):
                self.not_allowed("signed out meanwhile")
            end = await self._end
        finally:
            known.discard(self)
            if not known:
                self._sockets.known.pop(self._caller.credential, None)
            if lookout is not None and self._controller is not None:
                lookout.left(self._controller, self._venue.clock.stamp() - self._wire.silent_s)
            self._venue.hub.leave(self._listener)
            self._venue.metrics.listeners.dec()
            self._holder.released()
            if self._sockets.holding.pop(self._name, None):
                self._let_go(self._venue.clock.stamp(), "the panel's socket closed")
        if end is not None:
            with contextlib.suppress(RuntimeError, WebSocketDisconnect):
                await self._socket.close(*end)

    def _greet(self, after: tuple[int, str] | None) -> None:
        hub = self._venue.hub
        missed = None if after is None else hub.missed(*after)
        presence: Presence | None = self._socket.app.state.presence
        more = {} if presence is None else {"nodes": presence.elsewhere()}
        self._listener.push(hub.welcome(self._controller, resumed=missed is not None, holder=self._name, **more))
        if missed is not None:
            self._listener.catch_up(missed)

    def _send(self) -> None:
        """Send all that waits, in one piece; what comes while the panel has no room waits, and merges."""
        if self._end.done() or not self._wire.has_room:
            return
        messages = []
        try:
            while (message := self._listener.take()) is not None:
                messages.append(message)
        except Exception as bug:
            # A panel that hears nothing more must not believe that nothing happens.
            log.error("panel not served any more", holder=self._name, error=repr(bug))
            self._close(CLOSE_OUR_FAULT, "something went wrong on our side; connect again")
            return
        if messages:
            self._write(*messages)
        if self._controller is not None and self._controller not in self._venue.state.spec.controllers:
            self._finish((CLOSE_GONE, ""))  # what the hub had for it last was a `bye`
        elif self._wire.has_room:
            # From now on the hub writes by itself.
            self._listener.straight = self._wire.transport.write

    def _write(self, *messages: bytes) -> None:
        if not self._wire.closing:
            self._wire.transport.write(framed(messages))

    def full(self) -> None:
        self._listener.straight = None

    def room(self) -> None:
        """The panel has read what waited."""
        self._send()
        self._take_all()

    def gone(self) -> None:
        """The other end closes, or is lost."""
        self._finish(None)

    def _finish(self, end: tuple[int, str] | None) -> None:
        self._listener.straight = None
        if not self._end.done():
            self._end.set_result(end)

    def _close(self, code: int, why: str, **more: Any) -> None:
        if not self._end.done():
            self._write(orjson.dumps({"type": "bye", "why": why, **more}))
            self._finish((code, why))

    def not_allowed(self, why: str) -> None:
        """Close for good: what the caller was known by is over, so that it need not come back."""
        self._close(CLOSE_NOT_ALLOWED, why, again=False)

    def heard(self, text: str | None, waited_s: float = 0.0) -> None:
        """A message came, and with it a sign of life, of when it was sent."""
        self._holder.sign(waited_s)
        # What came together did not wait, though each may have been answered before the next was looked at.
        alone, self._read = self._wire.reads != self._read, self._wire.reads
        if alone and not self._inbox and not self._in_flight and self._rest is None:
            self._in_a_row = 0
        self._inbox.append(text)
        self._take_all()

    def _take_all(self) -> None:
        """Take what came, but no faster than it can be answered: a flood waits where it comes from."""
        if self._taking:
            return  # answering at once makes room: the loop below sees it
        if self._rest is not None:
            self._wire.hold_back(bool(self._inbox))
            return
        self._taking = True
        try:
            while self._inbox and not self._end.done() and self._can_take():
                self._in_a_row += 1
                self._take_one(self._inbox.popleft())
                if self._in_a_row >= AT_ONCE_MAX:
                    self._rest = asyncio.get_running_loop().call_later(REST_S, self._rested)
                    break
        finally:
            self._taking = False
        self._wire.hold_back(bool(self._inbox))

    def _rested(self) -> None:
        self._rest = None
        if not self._inbox and not self._in_flight:
            self._in_a_row = 0
        self._take_all()

    def _can_take(self) -> bool:
        return self._in_flight < IN_FLIGHT_MAX and self._listener.waiting <= UNREAD_MAX

    def _take_one(self, text: str | None) -> None:
        if text is None:
            self._close(CLOSE_UNREADABLE, "messages are JSON text, not binary")
        elif len(text) > limits.MESSAGE_BYTES_MAX:
            self._close(CLOSE_TOO_LARGE, f"a message has at most {limits.MESSAGE_BYTES_MAX} bytes")
        else:
            self._take(text)

    def _take(self, text: str) -> None:
        """One message: answered with ``ok`` once durable, or with a ``problem``."""
        name: int | str | None = None
        try:
            data = _parsed(text)
            found = data.get("id")
            name = found if isinstance(found, int | str) and not isinstance(found, bool) else None
            message = _validated(data)
            identity.allow(self._caller, _MESSAGE_RULES[data["type"]], {})
            if isinstance(message, models.HoldingMessage):
                return
            if isinstance(message, models.AliveMessage):
                self._ok(name, Receipt(self._venue.engine.seq, {}))
                return
            holds = isinstance(message, models.ActMessage) and message.do in HELD
            if holds and self._holder.silent:
                raise Refused("too-late", "it waited while the panel gave no sign of life; press again if it is wanted")
            done = self._venue.put(self._command(message))
        except RoomlinkError as error:
            self._problem(name, error)
            return
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
        return command_of(message, self._actor, controller)

    def _answer(self, name: int | str | None, holds: bool, done: asyncio.Future[Receipt]) -> None:
        # A callback of the future, not a task that awaits it: so answers come in the order of the commands.
        self._in_flight -= 1
        error = done.exception()
        if error is None:
            self._ok(name, done.result())
        else:
            assert isinstance(error, RoomlinkError)
            self._problem(name, error)
        if holds:
            self.still_holds()  # it may have been stored nowhere, or need no holding
        self._take_all()

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

    def overdue(self) -> None:
        self._holder.overdue()

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
