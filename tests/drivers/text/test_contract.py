"""The text driver keeps the promises of the port over TCP, UDP and a serial port."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from roomlink.drivers.text import DRIVER
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.text.peers import POINTS, VALUES, SerialDevice, TcpDevice, UdpDevice

SWIFT = {"pace": "0ms", "rate": 20}


class TestOverTcp(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = TcpDevice()
        yield Rig(DRIVER, {**peer.config, **SWIFT}, POINTS, VALUES, peer, confirms=True)
        await peer.stop()


class TestOverUdpWithoutAnswers(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = UdpDevice()
        points = [{"send": point["send"], "with": point.get("with", {})} for point in POINTS]
        yield Rig(DRIVER, {**peer.config, **SWIFT}, points, VALUES, peer)
        await peer.stop()


class TestOverASerialPort(DriverContract):
    @pytest.fixture
    async def rig(self, tmp_path: Path) -> AsyncIterator[Rig]:
        peer = SerialDevice(tmp_path / "port")
        yield Rig(DRIVER, {**peer.config, **SWIFT}, POINTS, VALUES, peer, confirms=True)
        await peer.stop()
