"""The MQTT driver keeps the promises of the port, against a real Mosquitto.

In version 3.1.1; that 5 does the same, outage included, is in test_link.py and in tests/external.
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from roomlink.drivers.mqtt import DRIVER
from tests.contracts.driver import DriverContract, Rig
from tests.drivers.mqtt.broker import Broker, Building
from tests.drivers.ports import free_tcp

POINTS: list[dict[str, Any]] = [
    {"topic": "hall/heron/house/set", "report": "hall/heron/house"},
    {"topic": "hall/heron/program", "format": "json", "qos": 2},
    {"topic": "hall/heron/mute", "format": "json", "member": "muted"},
]


class TestMqtt(DriverContract):
    @pytest.fixture
    async def rig(self, tmp_path: Path) -> AsyncIterator[Rig]:
        peer = Building(Broker(tmp_path, free_tcp()), POINTS)
        config = {"host": "127.0.0.1", "port": peer.broker.port}
        values: list[tuple[Any, Any]] = [(20.5, 70), ("laptop", "camera"), (True, False)]
        yield Rig(DRIVER, config, POINTS, values, peer, confirms=True)
        await peer.stop()
