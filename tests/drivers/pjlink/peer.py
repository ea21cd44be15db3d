"""A display that is nothing but bytes: answers written down beforehand, without any code of the driver."""

from __future__ import annotations

import asyncio
import contextlib
import re
from typing import Any

from roomlink.drivers.port import Value

STATE_OF = {"POWR": "0", "INPT": "11", "AVMT": "30"}
SETTING_OF = {"power": "POWR", "input": "INPT", "mute": "AVMT"}
MEANS: dict[tuple[str, str], Value] = {
    ("POWR", "1"): True,
    ("POWR", "0"): False,
    ("INPT", "31"): "digital-1",
    ("INPT", "12"): "rgb-2",
    ("AVMT", "31"): True,
    ("AVMT", "30"): False,
}


class ByteDisplay:
    """Takes every order at once, and tells it back when asked. ``script`` overrides the answer to a command line."""

    def __init__(self, port: int = 0, points: list[dict[str, Any]] | None = None) -> None:
        self.port, self.points = port, points or []
        self.greeting = b"PJLINK 0\r"
        self.script: dict[bytes, bytes] = {}
        self.lines: list[bytes] = []
        self.connections = 0
        self.state = dict(STATE_OF)
        self._server: asyncio.Server | None = None
        self._talks: dict[asyncio.Task[None] | None, asyncio.StreamWriter] = {}

    async def start(self) -> None:
        self.lines.clear()
        self._server = await asyncio.start_server(self._talk, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            server.close()
            self.hang_up()
            await asyncio.gather(*filter(None, self._talks))

    async def __aenter__(self) -> ByteDisplay:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    def hang_up(self) -> None:
        for writer in self._talks.values():
            writer.close()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._talks[asyncio.current_task()] = writer
        self.connections += 1
        writer.write(self.greeting)
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                line = await reader.readuntil(b"\r")
                self.lines.append(line)
                writer.write(self._answer(line))
                await writer.drain()
        del self._talks[asyncio.current_task()]
        writer.close()

    def _answer(self, line: bytes) -> bytes:
        if line in self.script:
            return self.script[line]
        found = re.search(rb"%1([A-Z]{4}) (.*)\r$", line)
        if not found:
            return b"%1ERR1\r"
        name, parameter = found[1].decode(), found[2].decode()
        if parameter != "?":
            self.state[name] = parameter
            return f"%1{name}=OK\r".encode()
        return f"%1{name}={self.state.get(name, 'ERR1')}\r".encode()

    def seen(self, point: int) -> list[Value]:
        name = SETTING_OF[self.points[point]["item"]].encode()
        orders = [line for line in self.lines if line[2:6] == name and not line.endswith(b"?\r")]
        return [MEANS[name.decode(), line[7:-1].decode()] for line in orders]

    async def junk(self) -> None:
        for writer in self._talks.values():
            writer.write(b"\xff\x00%2NOPE=\r" + b"x" * 500)
