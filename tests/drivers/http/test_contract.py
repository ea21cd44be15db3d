"""The HTTP driver keeps the promises of the port, against a real server."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from roomlink.drivers.http import DRIVER
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.http.peers import POINTS, VALUES, HttpPeer


class TestHttp(DriverContract):
    @pytest.fixture
    async def rig(self) -> AsyncIterator[Rig]:
        peer = HttpPeer()
        yield Rig(DRIVER, peer.config, POINTS, VALUES, peer, confirms=True)
        await peer.stop()
