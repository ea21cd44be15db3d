"""An OSC device on real sockets: reports, refreshes, faults."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any

import pytest
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message_builder import build_msg
from pythonosc.udp_client import SimpleUDPClient

from roomlink.drivers.osc import DRIVER
from roomlink.drivers.osc.link import READ_OCTETS
from roomlink.drivers.osc.wire import decode, encode_argument, slip
from roomlink.drivers.port import Device, DeviceFault, PointFault, Value, WireFault
from tests.contracts.driver import until
from tests.drivers.ports import free_tcp, free_udp

POINTS: tuple[dict[str, Any], ...] = (
    {"address": "/gain", "report": "/gain/is"},
    {"address": "/mute", "type": "bool"},
    {"address": "/source", "type": "s"},
)


def make(**keys: Any) -> Device:
    config = DRIVER.config.model_validate({"host": "127.0.0.1", **keys})
    points = [DRIVER.point.model_validate(point) for point in POINTS]
    return DRIVER.make(config, {DRIVER.point_name(config, point): point for point in points})


@asynccontextmanager
async def connected(device: Device) -> AsyncIterator[list[tuple[str, Value]]]:
    """A device that is connected and served, with what it hears."""
    heard: list[tuple[str, Value]] = []
    await device.connect(lambda point, value: heard.append((point, value)))
    serve = asyncio.create_task(device.serve())
    try:
        yield heard
    finally:
        serve.cancel()
        await asyncio.gather(serve, return_exceptions=True)
        await device.close()


@asynccontextmanager
async def serving(
    handle: Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]],
) -> AsyncIterator[int]:
    """A TCP server's port; at the end it has closed all that it opened."""
    open_now: set[asyncio.StreamWriter] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        open_now.add(writer)
        await handle(reader, writer)
        writer.close()
        open_now.discard(writer)

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
        assert await until(lambda: not open_now, 1.0)
    finally:
        server.close()


async def test_reports_over_udp_are_heard_where_it_listens() -> None:
    """Messages and bundles of an independent client; other addresses, types and junk are passed over."""
    port = free_udp()
    async with connected(make(port=free_udp(), listen=port)) as heard:
        with SimpleUDPClient("127.0.0.1", port) as client:
            client.send_message("/gain/is", -12.5)
            client.send_message("/gain", 99.0)
            client.send_message("/gain/is", "loud")
            client.send_message("/gain/is", [])
            client._sock.sendto(b"junk", ("127.0.0.1", port))
            builder = OscBundleBuilder(IMMEDIATELY)
            builder.add_content(build_msg("/mute", True))
            builder.add_content(build_msg("/source", "laptop"))
            client.send(builder.build())
        assert await until(lambda: len(heard) == 3, 1.0)
        assert heard == [("/gain", -12.5), ("/mute", True), ("/source", "laptop")]


async def test_nobody_else_on_the_network_speaks_for_the_device() -> None:
    """Only what comes from the device's own address is a report."""
    port = free_udp()
    async with connected(make(port=free_udp(), listen=port)) as heard:
        for address in ("127.0.0.2", "127.0.0.1"):
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
                sock.bind((address, 0))
                sock.sendto(encode_argument("/source", address), ("127.0.0.1", port))
        assert await until(lambda: bool(heard), 1.0)
        assert heard == [("/source", "127.0.0.1")]


@pytest.mark.parametrize(("refresh", "times"), [(0.1, range(4, 8)), (0, range(1, 2))])
async def test_what_was_sent_over_udp_is_refreshed(refresh: float, times: range) -> None:
    """A datagram may be lost, and a device restart unseen; 0 turns it off."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        sock.setblocking(False)
        device = make(port=sock.getsockname()[1], refresh=refresh)
        async with connected(device):
            await device.send({"/gain": -12.5})
            await asyncio.sleep(0.55)
        got = []
        while True:
            try:
                got.append(decode(sock.recv(100)))
            except BlockingIOError:
                break
        assert len(got) in times
        assert all(message == got[0] for message in got)


async def test_a_listening_port_that_is_taken_is_a_fault() -> None:
    """The runner tells it and tries again."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("0.0.0.0", 0))
        device = make(port=9000, listen=sock.getsockname()[1])
        with pytest.raises(OSError, match="in use"):
            await device.connect(lambda _point, _value: None)
        await device.close()


@pytest.mark.parametrize("transport", ["udp", "tcp"])
async def test_a_value_without_an_argument_is_refused_by_name(transport: str) -> None:
    """The others can go on."""

    async def listen(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await reader.read()

    async with serving(listen) as port:
        device = make(port=port, transport=transport)
        async with connected(device):
            with pytest.raises(PointFault) as refused:
                await device.send({"/mute": True, "/source": None})
            assert refused.value.point == "/source"


@pytest.mark.parametrize("transport", ["udp", "tcp"])
async def test_a_device_that_is_not_connected_says_so(transport: str) -> None:
    """Sending or serving before connecting is an outage, not a crash."""
    device = make(port=free_tcp(), transport=transport)
    with pytest.raises(DeviceFault, match="not connected"):
        await device.send({"/mute": True})
    with pytest.raises(DeviceFault, match="not connected"):
        await device.serve()


@pytest.mark.parametrize(
    ("says", "fault", "why"),
    [
        (b"", DeviceFault, "ended the connection"),
        (slip(b"junk\0\0\0\0"), WireFault, "begins with a slash"),
        (b"x" * 40 * READ_OCTETS, WireFault, "without an end"),
    ],
)
async def test_over_tcp_an_end_or_junk_ends_the_connection(says: bytes, fault: type[Exception], why: str) -> None:
    """Reports before it are heard."""

    async def serve(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(slip(encode_argument("/mute", True)) + says)

    async with serving(serve) as port:
        device = make(port=port, transport="tcp")
        heard: list[tuple[str, Value]] = []
        await device.connect(lambda point, value: heard.append((point, value)))
        with pytest.raises(fault, match=why):
            await device.serve()
        assert heard == [("/mute", True)]
        await device.close()


async def test_many_values_over_tcp_go_in_one_write() -> None:
    """Frame after frame, in the order given."""
    got: list[bytes] = []

    async def note(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        got.append(await reader.read(1000))

    async with serving(note) as port:
        device = make(port=port, transport="tcp")
        async with connected(device):
            await device.send({"/mute": True, "/gain": -1.0})
            assert await until(lambda: bool(got), 1.0)
        assert got == [slip(encode_argument("/mute", True)) + slip(encode_argument("/gain", -1.0))]
