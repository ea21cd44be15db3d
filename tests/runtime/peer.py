"""A small HTTP server on a free port that answers as it is told: with a status, late, never, or not at all."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as it came; names of headers in lower case."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True, slots=True)
class Reply:
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""


Behaviour = Callable[[Asked], Awaitable[Reply]]


async def well(asked: Asked) -> Reply:
    return Reply()


async def never(asked: Asked) -> Reply:
    await asyncio.Event().wait()
    raise AssertionError


def always(status: int, **headers: str) -> Behaviour:
    async def answer(asked: Asked) -> Reply:
        return Reply(status, {name.replace("_", "-"): value for name, value in headers.items()})

    return answer


class Peer:
    """``asked`` is everything that came, oldest first; ``behaviour`` may be changed at any time."""

    def __init__(self, behaviour: Behaviour = well) -> None:
        self.behaviour = behaviour
        self.asked: list[Asked] = []
        self.url = ""
        self._came = asyncio.Event()
        self._busy: set[asyncio.Task[None]] = set()

    async def until(self, count: int, within_s: float = 5.0) -> list[Asked]:
        """Everything, once at least ``count`` requests have come."""
        async with asyncio.timeout(within_s):
            while len(self.asked) < count:
                self._came.clear()
                await self._came.wait()
        return self.asked

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._busy.add(task)
        try:
            while head := await reader.readuntil(b"\r\n\r\n"):
                first, *lines = head.decode().strip().split("\r\n")
                method, path, _ = first.split(" ")
                headers = {n.lower(): v.strip() for n, _, v in (line.partition(":") for line in lines)}
                body = await reader.readexactly(int(headers.get("content-length", "0")))
                asked = Asked(method, path, headers, body)
                self.asked.append(asked)
                self._came.set()
                reply = await self.behaviour(asked)
                said = "".join(f"{name}: {value}\r\n" for name, value in reply.headers.items())
                length = "" if reply.status == 304 else f"content-length: {len(reply.body)}\r\n"
                writer.write(f"HTTP/1.1 {reply.status} so\r\n{length}{said}\r\n".encode() + reply.body)
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError, asyncio.CancelledError):
            pass
        finally:
            self._busy.discard(task)
            writer.close()

    async def stop(self) -> None:
        for task in list(self._busy):
            task.cancel()
        while self._busy:  # noqa: ASYNC110 - they end at once, and have no event
            await asyncio.sleep(0)


@asynccontextmanager
async def peer(behaviour: Behaviour = well, port: int = 0) -> AsyncIterator[Peer]:
    """A peer that serves; at the end its port is closed, and nobody is left hanging."""
    here = Peer(behaviour)
    server = await asyncio.start_server(here._serve, "127.0.0.1", port)
    here.url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
    try:
        yield here
    finally:
        server.close()
        await here.stop()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(5.0):
                await server.wait_closed()
