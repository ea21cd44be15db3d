"""The floors: servers that only pass a message on, or make it durable. ``_floors KIND FILE`` prints its port.

``websockets`` and ``transports`` pass on. ``durable`` and ``threaded`` echo a message once SQLite has it on the disk,
the one in the event loop itself, the other in a thread, so that a slow disk holds up nobody.
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
import sqlite3
import sys
import threading
from collections.abc import Awaitable, Callable
from queue import SimpleQueue
from typing import Any

import uvloop
from websockets.asyncio.server import ServerConnection, broadcast, serve

ENTRY_BYTES = 400
"""About what one entry of a level takes."""
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


def _file() -> Callable[[bytes], None]:
    """A file that takes one durable row at a time, as SQLite does it by itself."""
    db = sqlite3.connect(sys.argv[2], isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, body BLOB)")

    def commit(body: bytes) -> None:
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO entries (body) VALUES (?)", (body,))
        db.execute("COMMIT")

    return commit


async def _echoing(durably: Callable[[bytes], Awaitable[None]]) -> None:
    async def handle(connection: ServerConnection) -> None:
        async for message in connection:
            await durably(b"x" * ENTRY_BYTES)
            await connection.send(message)

    async with serve(handle, "127.0.0.1", 0, compression=None, ping_interval=None) as server:
        _say(next(iter(server.sockets)).getsockname()[1])
        await asyncio.Future()


async def durable() -> None:
    commit = _file()

    async def durably(body: bytes) -> None:
        commit(body)

    await _echoing(durably)


async def threaded() -> None:
    jobs: SimpleQueue[tuple[bytes, asyncio.Future[None]]] = SimpleQueue()
    commit, loop = _file(), asyncio.get_running_loop()

    def work() -> None:
        while True:
            body, done = jobs.get()
            commit(body)
            loop.call_soon_threadsafe(done.set_result, None)

    threading.Thread(target=work, daemon=True).start()

    async def durably(body: bytes) -> None:
        done: asyncio.Future[None] = loop.create_future()
        jobs.put((body, done))
        await done

    await _echoing(durably)


async def with_transports() -> None:
    server = await asyncio.get_running_loop().create_server(Plain, "127.0.0.1", 0)
    _say(server.sockets[0].getsockname()[1])
    await asyncio.Future()


def _say(port: int) -> None:
    print(port, flush=True)


KINDS = {"websockets": with_websockets, "transports": with_transports, "durable": durable, "threaded": threaded}

if __name__ == "__main__":
    uvloop.run(KINDS[sys.argv[1]]())
