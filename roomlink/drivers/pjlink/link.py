"""The connection to a display: one command at a time; what it cannot do now is done when it can."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from roomlink.drivers.pjlink import wire
from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault
from roomlink.drivers.secret import read_secret

_log = logging.getLogger(__name__)

EAGER_S = 0.5
"""How often a lamp that warms up or cools down is asked at least: what waits for it shall not wait long."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the display is, and how often it is asked."""

    host: str
    port: int
    password_file: str | None
    poll_s: float
    timeout_s: float


@dataclass(frozen=True, slots=True)
class Item:
    """One point: an item, of which part, of which lamp."""

    item: str
    of: str | None
    lamp: int


ASKED = {"input": "INPT", "mute": "AVMT", "errors": "ERST", "lamp-hours": "LAMP"}
"""Item to the command that asks for it; power is always asked for."""
READ: dict[str, Callable[[str, Item], Value]] = {
    "INPT": lambda text, _item: wire.input_name(text),
    "AVMT": lambda text, item: wire.muted(text, item.of or "both"),
    "ERST": lambda text, item: wire.severity(text, item.of),
    "LAMP": lambda text, item: wire.lamp_hours(text, item.lamp),
}
ORDER = ("power", "input", "mute")
"""What is sent first: a display that is off takes no input."""


def order(item: Item, value: Value) -> tuple[str, str]:
    """Command and parameter that drive an item to a value; raises ValueError with what would be right."""
    if item.item == "input":
        return "INPT", wire.input_code(value)
    if item.item not in ORDER:
        raise ValueError(f"{item.item} only reports")
    if not isinstance(value, bool):
        raise ValueError(f"{item.item} takes on or off, not {value!r}")
    if item.item == "power":
        return "POWR", wire.ON if value else wire.OFF
    return "AVMT", wire.MUTE_CODES[item.of or "both"] + ("1" if value else "0")


class PjlinkDevice:
    """``port.Device``. A display that closes an idle connection, as they all do, is not gone: it is called again."""

    rate_hz = 10.0
    detects_loss = True

    def __init__(self, settings: Settings, items: Mapping[str, Item]) -> None:
        self._settings, self._items = settings, dict(items)
        self._hear: Hear = lambda _point, _value: None
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self._prefix = ""
        """The digest that goes before the first command over this connection."""
        self._one = asyncio.Lock()
        # Deciding what to order and ordering it are one step: else an order that waits could overtake a newer one.
        self._ordering = asyncio.Lock()
        self._soon = asyncio.Event()
        self._begin()

    def _begin(self) -> None:
        self._later: dict[str, Value] = {}
        """What the display could not do when it was asked to."""
        self._phase = ""
        self._told: dict[str, Value] = {}
        self._unknown: set[str] = set()
        """Questions that this display does not know."""

    async def connect(self, hear: Hear) -> None:
        """Greets, and asks for the power: a wrong password shows with the first answer, not before."""
        self._hear = hear
        self._begin()
        await self._open()
        await self._power()

    async def _open(self) -> None:
        s = self._settings
        try:
            async with asyncio.timeout(s.timeout_s):
                self._streams = await asyncio.open_connection(s.host, s.port, limit=wire.LINE_BYTES_MAX)
                salt = wire.salt_of(await self._line())
        except TimeoutError:
            raise DeviceFault(f"{s.host} port {s.port} does not greet within {s.timeout_s:g} s") from None
        except EOFError:
            raise DeviceFault("the display closed the connection instead of greeting") from None
        except wire.WrongPassword:
            raise DeviceFault("the display refuses us: it has too many connections, or a password") from None
        self._prefix = ""
        if salt is not None:
            if s.password_file is None:
                raise DeviceFault("the display wants a password; give password_file")
            self._prefix = wire.digest(salt, read_secret(s.password_file))

    async def _line(self) -> bytes:
        if self._streams is None:
            raise EOFError
        try:
            return await self._streams[0].readuntil(b"\r")
        except asyncio.LimitOverrunError:
            raise WireFault(f"a line of more than {wire.LINE_BYTES_MAX} bytes") from None

    async def _ask(self, name: str, parameter: str = "?") -> str:
        """One command and its answer; raises wire.Refused, DeviceFault, WireFault, OSError or EOFError."""
        async with self._one:
            try:
                return await self._exchange(name, parameter)
            except (EOFError, ConnectionError):
                # Closed while idle: that is no outage. Asking twice does no harm, since all are levels.
                self._drop()
            await self._open()
            try:
                return await self._exchange(name, parameter)
            except EOFError:
                raise DeviceFault("the display closes each connection") from None

    async def _exchange(self, name: str, parameter: str) -> str:
        if self._streams is None:
            raise EOFError
        try:
            async with asyncio.timeout(self._settings.timeout_s):
                self._streams[1].write(self._prefix.encode() + wire.command(name, parameter))
                await self._streams[1].drain()
                line = await self._line()
        except TimeoutError:
            raise DeviceFault(f"no answer within {self._settings.timeout_s:g} s") from None
        self._prefix = ""
        try:
            return wire.answer(line, name)
        except wire.WrongPassword:
            raise DeviceFault("the display does not take the password") from None

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        """Order what can be ordered now; the rest follows from ``serve``. Power is confirmed by reports alone."""
        confirmed: set[str] = set()
        async with self._ordering:
            for name in sorted(values, key=self._rank):
                self._later.pop(name, None)
                if await self._drive(name, values[name]) and self._items[name].item != "power":
                    confirmed.add(name)
        return confirmed

    def _rank(self, name: str) -> int:
        item = self._items[name].item
        return ORDER.index(item) if item in ORDER else len(ORDER)

    async def _drive(self, name: str, value: Value) -> bool:
        """Whether the display took it; if it only cannot now, it is kept for later."""
        try:
            command, parameter = order(self._items[name], value)
        except ValueError as error:
            raise PointFault(name, str(error)) from None
        try:
            wire.done(await self._ask(command, parameter))
        except wire.Refused as refusal:
            if refusal.code != wire.NOT_NOW:
                raise PointFault(name, str(refusal)) from refusal
            self._later[name] = value
            return False
        finally:
            # Whatever was told before may no longer be so.
            self._told.pop(name, None)
        if command == "POWR":
            self._soon.set()
        return True

    async def serve(self) -> None:
        """Ask how it is, and order what had to wait."""
        while True:
            await self._round()
            eager = self._phase in (wire.COOLING, wire.WARMING)
            with contextlib.suppress(TimeoutError):
                wait_s = min(self._settings.poll_s, EAGER_S) if eager else self._settings.poll_s
                await asyncio.wait_for(self._soon.wait(), wait_s)
            self._soon.clear()

    async def _round(self) -> None:
        await self._power()
        async with self._ordering:
            for name in sorted(self._later, key=self._rank):
                try:
                    await self._drive(name, self._later.pop(name))
                except PointFault as fault:
                    # What is wrong shows only now, long after it was sent: the log is who is left to tell.
                    _log.warning("%s port %d: %s", self._settings.host, self._settings.port, fault)
        for question in dict.fromkeys(ASKED[item.item] for item in self._items.values() if item.item in ASKED):
            if question not in self._unknown:
                await self._read(question)

    async def _power(self) -> None:
        try:
            self._phase = wire.phase_of(await self._ask("POWR"))
        except wire.Refused as refusal:
            if refusal.code == wire.NOT_NOW:
                return
            raise DeviceFault(str(refusal)) from refusal
        for name, item in self._items.items():
            if item.item == "phase":
                self._tell(name, wire.PHASES[self._phase])
            elif item.item == "power" and self._phase in (wire.ON, wire.OFF):
                # On the way there it is neither.
                self._tell(name, self._phase == wire.ON)

    async def _read(self, question: str) -> None:
        try:
            text = await self._ask(question)
        except wire.Refused as refusal:
            if refusal.code != wire.NOT_NOW:
                self._unknown.add(question)
                _log.warning("%s port %d: %s: %s", self._settings.host, self._settings.port, question, refusal)
            return
        for name, item in self._items.items():
            if ASKED.get(item.item) == question:
                self._tell(name, READ[question](text, item))

    def _tell(self, name: str, value: Value) -> None:
        if name in self._told and self._told[name] == value:
            return
        self._told[name] = value
        self._hear(name, value)

    def _drop(self) -> None:
        streams, self._streams = self._streams, None
        if streams is not None:
            streams[1].close()

    async def close(self) -> None:
        """The display is left as it is."""
        self._drop()
