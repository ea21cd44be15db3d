"""The floors of fan-out: servers that do nothing but pass a message on to all; ``_floors KIND`` prints its port."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import sys
from typing import Any

import uvloop
from websockets.asyncio.server import ServerConnection, broadcast, serve

GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"


async def with_websockets() -> None:
    """The library's own broadcast, without compression."""
    everyone: set[ServerConnection] = set()

    async def handle(connection: ServerConnection) -> None:
        everyone.add(connection)
        try:
            async for message in connection:
                broadcast(everyone, message)
        finally:
            everyone.discard(connection)

    async with serve(handle, "127.0.0.1", 0, compression=None, ping_interval=None) as server:
        _say(next(iter(server.sockets)).getsockname()[1])
        await asyncio.Future()


class Plain(asyncio.Protocol):
    """A shared frame on plain transports: the least that asyncio can do."""

    everyone: set[asyncio.Transport] = set()  # noqa: RUF012 - shared by all on purpose

    def connection_made(self, transport: Any) -> None:
        self.transport = transport
        self.shaken = False

    def data_received(self, data: bytes) -> None:
        if not self.shaken:
            key = data.split(b"Sec-WebSocket-Key: ")[1].split(b"\r\n")[0]
            accept = base64.b64encode(hashlib.sha1(key + GUID, usedforsecurity=False).digest())
            self.transport.write(
                b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                b"Sec-WebSocket-Accept: " + accept + b"\r\n\r\n"
            )
            self.shaken = True
            self.everyone.add(self.transport)
            return
        # From a client of ours alone: one whole frame with a zero mask and a length of two octets.
        size = int.from_bytes(data[2:4], "big")
        frame = data[:1] + bytes((126,)) + data[2:4] + data[8 : 8 + size]
        for transport in self.everyone:
            transport.write(frame)

    def connection_lost(self, exc: Exception | None) -> None:
        self.everyone.discard(self.transport)


async def with_transports() -> None:
    server = await asyncio.get_running_loop().create_server(Plain, "127.0.0.1", 0)
    _say(server.sockets[0].getsockname()[1])
    await asyncio.Future()


def _say(port: int) -> None:
    print(port, flush=True)


if __name__ == "__main__":
    uvloop.run({"websockets": with_websockets, "transports": with_transports}[sys.argv[1]]())
