"""The OSC driver keeps the promises of the port over UDP and TCP, against servers made with ``python-osc``."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest
from pythonosc import slip
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_message_builder import build_msg
from pythonosc.osc_packet import OscPacket
from pythonosc.osc_server import AsyncIOOSCUDPServer

from roomlink.drivers.osc import DRIVER
from roomlink.drivers.port import Value
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.ports import free_tcp, free_udp

POINTS = [{"address": "/zone/heron/gain"}, {"address": "/zone/heron/mute", "type": "bool", "report": "/heron/muted"}]
VALUES: list[tuple[Value, Value]] = [(-30.0, -12.5), (True, False)]


class UdpPeer:
    """``Peer`` that only listens, but for junk."""

    def __init__(self) -> None:
        self.port = free_udp()
        self._transport: Any = None
        self._driver: tuple[str, int] = ("", 0)
        self.messages: list[tuple[str, Value]] = []
        self.dispatcher = Dispatcher()
        self.dispatcher.set_default_handler(self._note, needs_reply_address=True)

    def _note(self, driver: tuple[str, int], address: str, value: Value) -> None:
        self._driver = driver
        self.messages.append((address, value))

    async def start(self) -> None:
        self.messages = []
        loop: Any = asyncio.get_running_loop()
        server = AsyncIOOSCUDPServer(("127.0.0.1", self.port), self.dispatcher, loop)
        self._transport, _ = await server.create_serve_endpoint()

    async def stop(self) -> None:
        if self._transport is not None:
            self._transport.close()
            self._transport = None
            await asyncio.sleep(0)

    def seen(self, point: int) -> list[Value]:
        return [value for address, value in self.messages if address == POINTS[point]["address"]]

    async def junk(self) -> None:
        for octets in (b"", b"what", b"/zone/heron/gain\0\0\0\0,f\0\0\0", b"#bundle\0" * 3):
            self._transport.sendto(octets, self._driver)


class TcpPeer:
    """``Peer`` that repeats every value as a report, so that it is confirmed."""

    def __init__(self) -> None:
        self.port = free_tcp()
        self._server: asyncio.Server | None = None
        self._writers: list[asyncio.StreamWriter] = []
        self.messages: list[tuple[str, Value]] = []

    async def start(self) -> None:
        self.messages = []
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)

    async def stop(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
        for writer in self._writers:
            writer.close()
        self._writers.clear()
        await asyncio.sleep(0)

    def seen(self, point: int) -> list[Value]:
        return [value for address, value in self.messages if address == POINTS[point]["address"]]

    async def junk(self) -> None:
        for writer in self._writers:
            writer.write(b"\xc0what is this\xdb?\xc0")

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)
        rest = b""
        while octets := await reader.read(1000):
            *frames, rest = (rest + octets).split(b"\xc0")
            for frame in filter(None, frames):
                for timed in OscPacket(slip.decode(frame)).messages:
                    message = timed.message
                    self.messages.append((message.address, message.params[0]))
                    at = "/heron/muted" if message.address == "/zone/heron/mute" else message.address
                    writer.write(slip.encode(build_msg(at, message.params).dgram))
        writer.close()


class TestOscOverUdp(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = UdpPeer()
        yield Rig(DRIVER, {"host": "127.0.0.1", "port": peer.port}, POINTS, VALUES, peer)
        await peer.stop()


class TestOscOverTcp(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = TcpPeer()
        config = {"host": "127.0.0.1", "port": peer.port, "transport": "tcp"}
        yield Rig(DRIVER, config, POINTS, VALUES, peer, confirms=True)
        await peer.stop()
