"""The E1.31 driver keeps the promises of the port, against a receiver made with the ``sacn`` library."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest
import sacn

from roomlink.drivers.e131 import DRIVER
from roomlink.drivers.port import Value
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.ports import free_udp

POINTS = [{"channel": 1}, {"channel": 7, "bits": 16}]


class SacnReceiver:
    """``Peer``: notes what the library hands on; it does so when a universe's data changed."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._receiver: sacn.sACNreceiver | None = None
        self.frames: list[tuple[int, ...]] = []

    async def start(self) -> None:
        self.frames = []
        self._receiver = sacn.sACNreceiver("127.0.0.1", self._port)
        self._receiver.register_listener("universe", lambda packet: self.frames.append(packet.dmxData), universe=3)
        self._receiver.start()

    async def stop(self) -> None:
        if self._receiver is not None:
            self._receiver.stop()
            self._receiver = None

    def seen(self, point: int) -> list[Value]:
        if point == 0:
            return [frame[0] / 255 for frame in self.frames]
        return [(frame[6] * 256 + frame[7]) / 65535 for frame in self.frames]

    async def junk(self) -> None:
        """A receiver never speaks."""


class TestE131(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = SacnReceiver(free_udp())
        config = {"universe": 3, "destination": "127.0.0.1", "port": peer._port}
        yield Rig(DRIVER, config, POINTS, [(51 / 255, 1.0), (4112 / 65535, 0.0)], peer)
        await peer.stop()
