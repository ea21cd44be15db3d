"""``api.door``: peers that open connections and finish nothing do not keep others out."""

from __future__ import annotations

import asyncio
import contextlib
import os
import resource
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from roomlink import limits
from roomlink.api.door import Door
from tests.api.harness import WITHIN_S, Running, Served

HALF_OPEN = int(os.environ.get("ROOMLINK_HALF_OPEN", "400"))
"""How many connections at once finish nothing; more on request."""
HALF = b"GET /api/v1/panels/heron-wall HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: upgr"
HALF_BODY = b"POST /api/v1/zones/heron/actions HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{"
WHOLE = b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"
LARGE_BYTES = 16 * 1024 * 1024
CLOSED = (b"", "aborted")


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """A request must come whole within a fifth of a second."""
    monkeypatch.setattr(limits, "REQUEST_S", 0.2)


async def dialled(service: Running, said: bytes = b"") -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    reader, writer = await asyncio.open_connection("127.0.0.1", int(service.url.rpartition(":")[2]))
    writer.write(said)
    return reader, writer


async def heard(reader: asyncio.StreamReader) -> bytes | str:
    """What comes until the connection ends."""
    try:
        return await asyncio.wait_for(reader.read(), WITHIN_S)
    except ConnectionError:
        return "aborted"


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"GET",
        HALF,
        b"POST /api/v1/zones/heron/actions HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{",
    ],
    ids=["nothing", "a word", "half a handshake", "half a body"],
)
async def test_a_request_that_does_not_come_whole_is_given_up(soon: None, service: Running, said: bytes) -> None:
    """However far it came; nothing of it is left."""
    reader, writer = await dialled(service, said)
    assert await heard(reader) in CLOSED
    writer.close()
    assert not Door.unfinished


async def test_drops_of_a_request_do_not_prolong_its_time(soon: None, service: Running) -> None:
    """One byte now and then is no sign of good will."""
    reader, writer = await dialled(service, b"GET /")
    ended = asyncio.create_task(heard(reader))
    for _ in range(100):
        writer.write(b"a")
        if (await asyncio.wait({ended}, timeout=0.02))[0]:
            break
    assert ended.result() in CLOSED
    writer.close()


async def test_the_time_begins_anew_with_each_request(soon: None, service: Running) -> None:
    """A connection that is used again and again lives on; sockets have no such bound."""
    async with service.panel() as panel:
        reader, writer = await dialled(service)
        for _ in range(6):
            writer.write(WHOLE)
            assert (await asyncio.wait_for(reader.readuntil(b"alive\n"), WITHIN_S)).startswith(b"HTTP/1.1 200")
            await asyncio.sleep(0.05)
        writer.write(HALF)
        assert await heard(reader) in CLOSED
        writer.close()
        assert (await panel.act("volume", "set", value=-20))["type"] == "ok"
    assert not Door.unfinished


async def test_where_too_many_are_unfinished_the_oldest_makes_room(
    monkeypatch: pytest.MonkeyPatch, service: Running
) -> None:
    """Long before its time is over; whoever finishes what it says is served."""
    monkeypatch.setattr(limits, "UNFINISHED_REQUESTS_MAX", 3)
    first, *between, last = [await dialled(service, HALF) for _ in range(4)]
    assert await heard(first[0]) in CLOSED
    last[1].write(b"ade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n")
    assert (await asyncio.wait_for(last[0].readline(), WITHIN_S)).startswith(b"HTTP/1.1 101")
    for _, writer in (first, *between, last):
        writer.close()


async def test_an_answer_that_nobody_reads_is_given_up(
    monkeypatch: pytest.MonkeyPatch, start: Callable[..., Awaitable[Running]], folder: Path
) -> None:
    """It would wait for ever, and hold what it answers with."""
    monkeypatch.setattr(limits, "UNREAD_S", 0.2)
    (folder / "panels").mkdir()
    (folder / "panels" / "large.bin").write_bytes(bytes(LARGE_BYTES))
    service = await start(parts=lambda writer: {"folder": folder})
    loop = asyncio.get_running_loop()
    got = 0
    with socket.socket() as sock:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        sock.setblocking(False)
        await loop.sock_connect(sock, ("127.0.0.1", int(service.url.rpartition(":")[2])))
        await loop.sock_sendall(sock, b"GET /panels/large.bin HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert (await loop.sock_recv(sock, 12)).startswith(b"HTTP/1.1 200")
        await asyncio.sleep(0.4)
        with contextlib.suppress(ConnectionError):
            while some := await asyncio.wait_for(loop.sock_recv(sock, 1024 * 1024), WITHIN_S):
                got += len(some)
    assert got < LARGE_BYTES


async def test_a_crowd_of_half_open_connections_keeps_nobody_out(serve: Callable[..., Served]) -> None:
    """They cost a descriptor each; panels come in, act and hear meanwhile."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    if most < 2 * HALF_OPEN + 200:
        pytest.skip(f"this machine lets a process have {most} descriptors")
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    served = serve("--log", "error", data=None)
    port = int(served.url.rpartition(":")[2])
    opened = []
    try:
        for number in range(HALF_OPEN):
            opened.append(socket.create_connection(("127.0.0.1", port), WITHIN_S))
            opened[-1].sendall((b"", HALF)[number % 2])
        async with served.panel() as panel, served.panel("tern-wall"):
            assert (await panel.act("volume", "set", value=-20))["type"] == "ok"
        assert served.get("/zones/heron")["controls"]["volume"]["value"] == -20.0
    finally:
        for one in opened:
            one.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
