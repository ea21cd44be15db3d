"""The PJLink driver keeps the promises of the port, against a display that is nothing but bytes."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from roomlink.drivers.pjlink import DRIVER
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.pjlink.peer import ByteDisplay
from tests.drivers.ports import free_tcp


class TestPjlink(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        points = [{"item": "power"}, {"item": "input"}, {"item": "mute"}]
        peer = ByteDisplay(free_tcp(), points)
        yield Rig(
            DRIVER,
            {"host": "127.0.0.1", "port": peer.port, "poll": "200ms", "timeout": "500ms"},
            points,
            [(True, False), ("digital-1", "rgb-2"), (True, False)],
            peer,
            confirms=True,
        )
        await peer.stop()
