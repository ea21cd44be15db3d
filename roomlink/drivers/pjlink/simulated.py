"""A display to try PJLink against: a server on a real socket, with a lamp that takes its time, a password, and faults.

async with SimulatedDisplay(warm_up_s=2.0) as display:
    ...  # connect to 127.0.0.1, display.port
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import secrets
from collections.abc import Callable
from typing import Self

from roomlink.drivers.pjlink import wire
from roomlink.drivers.port import WireFault

IDLE_CLOSE_S = 30.0
"""After this long without a command a display closes the connection, as the specification has it."""
INPUTS = ("rgb-1", "rgb-2", "video-1", "digital-1", "digital-2", "network-1")


class SimulatedDisplay:
    """One display. Its attributes may be changed at any time; ``orders`` tells what it was ordered, oldest first."""

    def __init__(
        self,
        *,
        port: int = 0,
        password: str | None = None,
        warm_up_s: float = 20.0,
        cool_down_s: float = 40.0,
        idle_close_s: float = IDLE_CLOSE_S,
    ) -> None:
        self.port = port
        """Where it listens; 0 becomes a free port at ``start``."""
        self.password = password
        self.warm_up_s, self.cool_down_s, self.idle_close_s = warm_up_s, cool_down_s, idle_close_s
        self.phase = wire.OFF
        self.input = INPUTS[0]
        self.muted: set[str] = set()
        self.errors = dict.fromkeys(wire.PARTS, "ok")
        self.lamp_hours = [1200]
        self.refuse: dict[str, str] = {}
        """Command to the error that it gets: a fault to try."""
        self.orders: list[tuple[str, str]] = []
        self.connections = 0
        """How often somebody connected since it was made."""
        self._server: asyncio.Server | None = None
        self._tasks: dict[asyncio.Task[None], asyncio.StreamWriter] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._answers: dict[str, Callable[[str], str]] = {
            "POWR": self._power,
            "INPT": self._select,
            "AVMT": self._mute,
            "ERST": lambda _: "".join(str(wire.SEVERITIES.index(self.errors[part])) for part in wire.PARTS),
            "LAMP": lambda _: " ".join(f"{hours} {int(self.phase == wire.ON)}" for hours in self.lamp_hours),
            "INST": lambda _: " ".join(wire.input_code(name) for name in INPUTS),
            "NAME": lambda _: "simulated",
            "INF1": lambda _: "roomlink",
            "INF2": lambda _: "simulated display",
            "INFO": lambda _: "",
            "CLSS": lambda _: "1",
        }

    async def start(self) -> None:
        """Listen; the display itself is as it was."""
        self._server = await asyncio.start_server(self._talk, "127.0.0.1", self.port, limit=wire.LINE_BYTES_MAX)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Leave the network; does no harm when called twice."""
        server, self._server = self._server, None
        if server is None:
            return
        server.close()
        self.hang_up()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if self._timer is not None:
            self._timer.cancel()

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    def hang_up(self) -> None:
        """Close every connection, as a display does that was idle for long."""
        for writer in self._tasks.values():
            writer.close()

    def say(self, data: bytes) -> None:
        """Send bytes that nobody asked for."""
        for writer in self._tasks.values():
            writer.write(data)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks[task] = writer
        self.connections += 1
        try:
            # A client may vanish, be silent for too long, or talk nonsense: then the line is simply closed.
            with contextlib.suppress(EOFError, OSError, TimeoutError, asyncio.LimitOverrunError, WireFault):
                await self._converse(reader, writer)
        finally:
            del self._tasks[task]
            writer.close()

    async def _converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        expected = ""
        if self.password is None:
            writer.write(b"PJLINK 0\r")
        else:
            salt = secrets.token_hex(4)
            expected = wire.digest(salt, self.password)
            writer.write(f"PJLINK 1 {salt}\r".encode())
        while True:
            async with asyncio.timeout(self.idle_close_s):
                text = wire.text_of(await reader.readuntil(b"\r"))
            if expected:
                if not hmac.compare_digest(text[: len(expected)].encode(), expected.encode()):
                    writer.write(b"PJLINK ERRA\r")
                    await writer.drain()
                    return
                text, expected = text[len(expected) :], ""
            writer.write(self._answer(text))
            await writer.drain()

    def _answer(self, text: str) -> bytes:
        name, parameter = text[2:6].upper(), text[7:]
        if text[:2] != "%1" or text[6:7] != " ":
            raise WireFault("no command of class 1")
        if parameter != "?":
            self.orders.append((name, parameter))
        known = self._answers.get(name)
        answer = self.refuse.get(name) or ("ERR1" if known is None else known(parameter))
        return f"%1{name}={answer}\r".encode()

    def _power(self, parameter: str) -> str:
        if parameter == "?":
            return self.phase
        if parameter not in (wire.OFF, wire.ON):
            return "ERR2"
        on = parameter == wire.ON
        if self.phase == (wire.COOLING if on else wire.WARMING):
            return "ERR3"
        if self.phase == (wire.OFF if on else wire.ON):
            self.phase = wire.WARMING if on else wire.COOLING
            after = self.warm_up_s if on else self.cool_down_s
            self._timer = asyncio.get_running_loop().call_later(after, self._arrive, parameter)
        return "OK"

    def _arrive(self, phase: str) -> None:
        self.phase = phase
        self.muted.clear()

    def _select(self, parameter: str) -> str:
        if self.phase != wire.ON:
            return "ERR3"
        if parameter == "?":
            return wire.input_code(self.input)
        try:
            name = wire.input_name(parameter)
        except WireFault:
            return "ERR2"
        if name not in INPUTS:
            return "ERR2"
        self.input = name
        return "OK"

    def _mute(self, parameter: str) -> str:
        if self.phase != wire.ON:
            return "ERR3"
        if parameter == "?":
            codes = {frozenset[str](): "30", frozenset({"picture"}): "11", frozenset({"sound"}): "21"}
            return codes.get(frozenset(self.muted), "31")
        parts = {"1": {"picture"}, "2": {"sound"}, "3": {"picture", "sound"}}.get(parameter[:1])
        if parts is None or parameter[1:] not in ("0", "1"):
            return "ERR2"
        self.muted = self.muted | parts if parameter[1:] == "1" else self.muted - parts
        return "OK"
