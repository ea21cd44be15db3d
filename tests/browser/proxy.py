"""A network between browser and service that can be cut, swallow everything, and come back."""

from __future__ import annotations

import asyncio
from typing import Literal, Self

Direction = Literal["up", "down"]
"""``up`` goes to the service, ``down`` to the browser."""


class Proxy:
    """Passes TCP on to ``port`` of this machine, from a port of its own.

    ``cut`` breaks every connection by force and refuses new ones. ``swallow`` lets nothing through and closes nothing,
    as where packets vanish; TCP sends again what was lost, so that ``restore`` delivers it late.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self._server: asyncio.Server | None = None
        self._flowing: dict[Direction, asyncio.Event] = {"up": asyncio.Event(), "down": asyncio.Event()}
        self._open: dict[asyncio.StreamWriter, asyncio.StreamWriter] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self.port = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def __aenter__(self) -> Self:
        await self.restore()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.cut()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def cut(self) -> None:
        """Break every connection at once, both ends, and refuse new ones."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for pair in list(self._open.items()):
            for writer in pair:
                writer.transport.abort()
        # Those who wait to pass on must find that their connection is gone.
        for event in self._flowing.values():
            event.set()

    def swallow(self, *directions: Direction) -> None:
        """Let nothing through in these directions (both, if none is named), and close nothing."""
        for direction in directions or ("up", "down"):
            self._flowing[direction].clear()

    async def restore(self) -> None:
        """Let everything through again."""
        for event in self._flowing.values():
            event.set()
        if self._server is None:
            self._server = await asyncio.start_server(self._accept, "127.0.0.1", self.port)
            self.port = self._server.sockets[0].getsockname()[1]

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.create_task(self._serve(reader, writer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await self._flowing["up"].wait()
            service_reader, service = await asyncio.open_connection("127.0.0.1", self._to)
        except OSError:
            # The service itself is away: the browser is refused, as it would be without a proxy.
            writer.transport.abort()
            return
        self._open[writer] = service
        try:
            async with asyncio.TaskGroup() as both:
                both.create_task(self._pass_on(reader, service, "up"))
                both.create_task(self._pass_on(service_reader, writer, "down"))
        finally:
            del self._open[writer]
            for end in (writer, service):
                end.transport.abort()

    async def _pass_on(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, direction: Direction) -> None:
        try:
            while data := await reader.read(65536):
                await self._flowing[direction].wait()
                writer.write(data)
                await writer.drain()
            await self._flowing[direction].wait()
            writer.write_eof()
        except OSError:
            # A broken connection breaks the other side too.
            writer.transport.abort()
