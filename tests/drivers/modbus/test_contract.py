"""The Modbus driver keeps the promises of the port, against pymodbus's own server."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from roomlink.drivers.modbus import DRIVER
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.modbus.peer import RelayBox
from tests.drivers.ports import free_tcp


class TestModbus(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        points = [{"coil": 3}, {"coil": 4}, {"register": 7}]
        peer = RelayBox(free_tcp(), points)
        yield Rig(
            DRIVER,
            {"host": "127.0.0.1", "port": peer.port, "timeout": "500ms"},
            points,
            [(True, False), (False, True), (200, 4000)],
            peer,
            confirms=True,
        )
        await peer.stop()
