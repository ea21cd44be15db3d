"""A device that speaks lines of bytes, reached over TCP, UDP or a pseudo-terminal; written without our patterns."""

from __future__ import annotations

import asyncio
import os
import tty
from pathlib import Path
from typing import Any

from roomlink.drivers.port import Value
from tests.drivers.ports import free_tcp, free_udp

POINTS: list[dict[str, Any]] = [
    {
        "send": "SET {zone} VOL {value:number 1 decimal}",
        "expect": "OK",
        "refused": "ERR {reason:text}",
        "report": "VOL {zone} {value:number}",
        "with": {"zone": 3},
    },
    {"send": "SET 3 MUTE {value:on-off ON OFF}", "expect": "OK", "report": "MUTE 3 {value:on-off ON OFF}"},
]
VALUES: list[tuple[Value, Value]] = [(-20.5, -3.0), (True, False)]
JUNK = b"\xff\xfe\x00\r\n" + b"x" * 9000 + b"\r\n\r\r\n WHAT?\n" + bytes(range(256)) + b"\r\n"


class LineDevice:
    """What the device does with each line; subclasses carry the bytes."""

    ending = b"\r\n"

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.locked: set[str] = set()
        """First words after SET that it refuses."""
        self.mute = 0
        """So many of the next lines it does not answer."""
        self.replies: dict[str, bytes] = {}
        """Line to what is answered instead, as raw bytes."""
        self.greeting = b""
        self._rest = b""

    async def start(self) -> None:
        self.lines = []
        self._rest = b""

    async def stop(self) -> None:
        raise NotImplementedError

    def put(self, data: bytes) -> None:
        """Send bytes to whoever is connected."""
        raise NotImplementedError

    def say(self, line: str) -> None:
        self.put(line.encode() + self.ending)

    def got(self, data: bytes) -> None:
        *lines, self._rest = (self._rest + data).split(self.ending)
        for line in lines:
            self.line(line.decode())

    def line(self, line: str) -> None:
        self.lines.append(line)
        if self.mute:
            self.mute -= 1
        elif line in self.replies:
            self.put(self.replies[line])
        elif line.startswith("SET "):
            self.say("ERR locked" if line.split()[2] in self.locked else "OK")

    def seen(self, point: int) -> list[Value]:
        """What it was told for one of ``POINTS``."""
        values: list[Value] = []
        for line in self.lines:
            words = line.split()
            if words[:3] == ["SET", "3", ("VOL", "MUTE")[point]]:
                values.append(float(words[3]) if point == 0 else words[3] == "ON")
        return values

    async def junk(self) -> None:
        self.put(JUNK)


class TcpDevice(LineDevice):
    def __init__(self) -> None:
        super().__init__()
        self.port = free_tcp()
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()

    @property
    def config(self) -> dict[str, Any]:
        return {"transport": "tcp", "host": "127.0.0.1", "port": self.port}

    async def start(self) -> None:
        await super().start()
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)

    async def stop(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            server.close()
            self.hang_up()
            await server.wait_closed()
            await asyncio.sleep(0.01)

    def hang_up(self) -> None:
        for writer in self._writers:
            writer.close()

    def put(self, data: bytes) -> None:
        for writer in self._writers:
            writer.write(data)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.add(writer)
        self._rest = b""
        try:
            writer.write(self.greeting)
            while data := await reader.read(4096):
                self.got(data)
        except ConnectionError:
            pass
        finally:
            self._writers.discard(writer)
            writer.close()


class UdpDevice(LineDevice, asyncio.DatagramProtocol):
    def __init__(self) -> None:
        super().__init__()
        self.port = free_udp()
        self._transport: Any = None
        self._from: Any = None

    @property
    def config(self) -> dict[str, Any]:
        return {"transport": "udp", "host": "127.0.0.1", "port": self.port, "refresh": "500ms"}

    async def start(self) -> None:
        await super().start()
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(lambda: self, local_addr=("127.0.0.1", self.port))

    async def stop(self) -> None:
        if self._transport is not None:
            self._transport.close()
            self._transport = None
            await asyncio.sleep(0)

    def datagram_received(self, data: bytes, addr: Any) -> None:
        self._from = addr
        self.got(data)

    def put(self, data: bytes) -> None:
        if self._transport is not None and self._from is not None:
            self._transport.sendto(data, self._from)


class SerialDevice(LineDevice):
    """The other end of a pseudo-terminal, found by the same path each time."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self._ours = self._theirs = -1

    @property
    def config(self) -> dict[str, Any]:
        return {
            "transport": "serial",
            "path": str(self.path),
            "baud": 19200,
            "polls": [{"send": "HELLO", "every": "300ms", "expect": "HERE"}],
            "reply_timeout": "300ms",
        }

    async def start(self) -> None:
        await super().start()
        self.replies.setdefault("HELLO", b"HERE\r\n")
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.path.symlink_to(os.ttyname(self._theirs))
        asyncio.get_running_loop().add_reader(self._ours, self._readable)

    async def stop(self) -> None:
        if self._ours >= 0:
            asyncio.get_running_loop().remove_reader(self._ours)
            os.close(self._ours)
            os.close(self._theirs)
            self._ours = -1
            self.path.unlink()

    def _readable(self) -> None:
        self.got(os.read(self._ours, 4096))

    def put(self, data: bytes) -> None:
        # A pseudo-terminal takes about 4 KiB before somebody reads.
        os.write(self._ours, data[:2000])
