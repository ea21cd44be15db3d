"""The simulated driver keeps the promises of the port; its peer is its own stand on the bench."""

from __future__ import annotations

import pytest

from roomlink.drivers.port import Value
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench
from tests.contracts.driver import DriverContract, Rig

POINTS = [{"name": "gain"}, {"name": "mute", "start": False}]


class StandPeer:
    """``Peer`` of the contract: plugs and unplugs."""

    def __init__(self, bench: Bench) -> None:
        self.stand = bench.device("mixer-1")
        self.stand.unplug()

    async def start(self) -> None:
        self.stand.sent.clear()
        self.stand.plug()

    async def stop(self) -> None:
        self.stand.unplug()

    def seen(self, point: int) -> list[Value]:
        return self.stand.got(str(POINTS[point]["name"]))

    async def junk(self) -> None:
        pass


class TestSimulated(DriverContract):
    @pytest.fixture
    def rig(self) -> Rig:
        bench = Bench()
        peer = StandPeer(bench)
        return Rig(driver(bench), {"stand": "mixer-1"}, POINTS, [(-20.5, -3.0), (True, False)], peer, confirms=True)
