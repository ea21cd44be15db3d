"""``api.wire``: signs of life and back-pressure of a live socket, over a real port and by the machine's own clock."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

import pytest

from roomlink import serving
from roomlink.api import socket as sockets
from roomlink.api.wire import BACKLOG_S
from tests.api.harness import WITHIN_S, Running

Start = Callable[..., Awaitable[Running]]
TEXT, CLOSE, PING = 1, 8, 9


class Peer:
    """The other end of a socket that answers pings only when it is told to: a frame is a frame."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self.writer = reader, writer
        self.pings = 0

    def say(self, *names: int) -> None:
        """Messages that are answered at once, in one piece."""
        self.writer.write(b"".join(_frame(b'{"type":"alive","id":%d}' % name) for name in names))

    async def answer(self) -> int | None:
        """Whose answer comes next; None once the socket is closed."""
        while True:
            try:
                head = await asyncio.wait_for(self._reader.readexactly(2), WITHIN_S)
            except (asyncio.IncompleteReadError, ConnectionError):
                return None
            length = head[1]
            if length > 125:
                length = int.from_bytes(await self._reader.readexactly(2 if length == 126 else 8), "big")
            payload = await self._reader.readexactly(length)
            kind = head[0] & 0x0F
            self.pings += kind == PING
            if kind == CLOSE:
                return None
            if kind == TEXT and (message := json.loads(payload))["type"] == "ok":
                found: int = message["id"]
                return found


def _frame(text: bytes) -> bytes:
    return bytes((0x80 | TEXT, 0x80 | len(text), 0, 0, 0, 0)) + text


@asynccontextmanager
async def dialled(service: Running) -> AsyncIterator[Peer]:
    host = service.url.removeprefix("http://")
    reader, writer = await asyncio.open_connection(*host.split(":"))
    writer.write(
        f"GET /api/v1/panels/heron-wall HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
    )
    await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), WITHIN_S)
    try:
        yield Peer(reader, writer)
    finally:
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()


@pytest.fixture
async def pinging(start: Start, monkeypatch: pytest.MonkeyPatch) -> Running:
    """A service that pings ten times a second, and waits for an answer as long."""
    monkeypatch.setattr(serving, "PING_S", 0.1)
    return await start()


async def test_who_says_nothing_and_answers_no_ping_is_closed(pinging: Running) -> None:
    """A peer that is gone without a word."""
    async with dialled(pinging) as peer:
        assert await peer.answer() is None
        assert peer.pings == 1


async def test_who_speaks_lives_though_no_ping_is_answered(pinging: Running) -> None:
    """Its answer may lie behind what it sent; several pings go by."""
    async with dialled(pinging) as peer:
        for name in range(15):
            peer.say(name)
            assert await peer.answer() == name
            await asyncio.sleep(0.04)
        assert peer.pings > 1
        assert await peer.answer() is None, "and is closed like anybody once it falls silent"


async def test_who_is_held_back_is_not_taken_for_gone(pinging: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer to a ping cannot be seen while nothing is read; once all was taken it must come."""
    monkeypatch.setattr(sockets, "REST_S", 0.3)
    async with dialled(pinging) as peer:
        peer.say(*range(sockets.AT_ONCE_MAX + 2))
        assert [await peer.answer() for _ in range(sockets.AT_ONCE_MAX + 2)] == list(range(sockets.AT_ONCE_MAX + 2))
        assert await peer.answer() is None


async def test_what_waited_to_be_read_is_a_sign_of_life_of_when_reading_stopped(
    start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And what comes when all that waited must be there is one of now."""
    waited: list[float] = []
    really = sockets.Connection.heard

    def heard(connection: sockets.Connection, text: str | None, waited_s: float = 0.0) -> None:
        waited.append(waited_s)
        really(connection, text, waited_s)

    monkeypatch.setattr(sockets.Connection, "heard", heard)
    monkeypatch.setattr(sockets, "REST_S", 0.3)
    async with dialled(await start()) as peer:
        many = sockets.AT_ONCE_MAX + 1
        peer.say(*range(many))
        for name in range(sockets.AT_ONCE_MAX):
            assert await peer.answer() == name
        peer.say(many)  # the one before it still waits to be taken
        assert await peer.answer() == many - 1
        assert await peer.answer() == many
        await asyncio.sleep(0.3 + BACKLOG_S)
        peer.say(many + 1)
        assert await peer.answer() == many + 1
        assert waited[:many] == [0.0] * many
        assert 0.25 < waited[many] < WITHIN_S
        assert waited[many + 1 :] == [0.0]


async def test_a_flood_is_taken_four_at_once_and_then_one_by_one(start: Start, monkeypatch: pytest.MonkeyPatch) -> None:
    """All of it is answered, in order, with a rest before each further one; nobody else waits for it."""
    monkeypatch.setattr(sockets, "REST_S", 0.1)
    service = await start()
    loop = asyncio.get_running_loop()
    async with dialled(service) as peer:
        many = sockets.AT_ONCE_MAX + 6
        peer.say(*range(many))
        times: list[float] = []
        async with service.panel("tern-wall") as other:
            for name in range(many):
                assert await peer.answer() == name
                times.append(loop.time())
                if name == sockets.AT_ONCE_MAX:
                    for _ in range(20):
                        assert (await other.act("volume", "set", value=-20))["type"] == "ok"
                    quick = loop.time() - times[-1]
        # Each rest is whole, however late an answer is read here; what the other asked meanwhile took none.
        assert times[-1] - times[sockets.AT_ONCE_MAX - 1] >= 0.1 * 5
        assert quick < 20 * 0.1


async def test_who_waits_for_answers_is_never_slowed(start: Start, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many orders it gives, and whatever it says in between."""
    monkeypatch.setattr(sockets, "REST_S", 60.0)
    service = await start()
    async with service.panel() as panel:
        for number in range(3 * sockets.AT_ONCE_MAX):
            assert (await panel.act("volume", "set", number, value=-20 - number))["type"] == "ok"
