"""MQTT: topic matching by the standard's own examples, retained messages and the last will at a real broker.

The examples are those of MQTT 3.1.1, clause 4.7, reproduced with paho's ``topic_matches_sub``; the broker is Mosquitto.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from paho.mqtt.client import topic_matches_sub

from roomlink.drivers.mqtt import DRIVER
from roomlink.drivers.mqtt.wire import matches
from tests.contracts.driver import until
from tests.drivers.mqtt.broker import Broker, Listener
from tests.drivers.ports import free_tcp


@pytest.mark.parametrize(
    ("wanted", "topic", "expected"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/#", "sport", True),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("sport/+", "sport", False),
        ("+", "/finance", False),
        ("#", "$SYS/x", False),
        ("+/x", "$SYS/x", False),
        ("$SYS/#", "$SYS/x", True),
    ],
)
def test_topics_match_as_the_standard_says(wanted: str, topic: str, expected: bool) -> None:
    """MQTT 3.1.1, 4.7.1 and 4.7.2; paho agrees."""
    assert matches(wanted, topic) is expected
    assert topic_matches_sub(wanted, topic) is expected


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    broker = Broker(tmp_path, free_tcp())
    await broker.start()
    yield broker
    await broker.stop()


@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_a_wanted_value_is_retained_for_those_who_come_later(broker: Broker, version: str) -> None:
    """3.3.1.3: a new subscriber gets the last retained message, marked as such; without retain it gets nothing."""
    config = DRIVER.config.model_validate({"host": "127.0.0.1", "port": broker.port, "version": version})
    points = {
        name: DRIVER.point.model_validate({"topic": name, **more})
        for name, more in {"hall/kept": {}, "hall/passing": {"retain": False}}.items()
    }
    device = DRIVER.make(config, points)
    await device.connect(lambda _point, _value: None)
    assert await device.send({"hall/kept": 20, "hall/passing": 20}) == {"hall/kept", "hall/passing"}
    await device.send({"hall/kept": 35})
    await device.close()
    late = Listener(broker.port)
    await late.ready()
    assert await until(lambda: late.heard == [("hall/kept", b"35", True)], 2)
    late.stop()


@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_the_last_will_tells_that_the_service_died(broker: Broker, version: str) -> None:
    """3.1.2.5: a connection that ends without DISCONNECT makes the broker publish the will, here retained."""
    listener = Listener(broker.port)
    await listener.ready()
    code = f"""
import asyncio
from roomlink.drivers.mqtt import DRIVER
async def main():
    config = DRIVER.config.model_validate(
        {{"host": "127.0.0.1", "port": {broker.port}, "version": "{version}", "availability": "hall/roomlink"}})
    device = DRIVER.make(config, {{}})
    await device.connect(print)
    await device.serve()
asyncio.run(main())
"""
    process = await asyncio.create_subprocess_exec(sys.executable, "-c", code)
    try:
        assert await until(lambda: listener.of("hall/roomlink") == [b"online"], 10)
    finally:
        os.kill(process.pid, signal.SIGKILL)
        await process.wait()
    assert await until(lambda: listener.of("hall/roomlink") == [b"online", b"offline"], 2)
    listener.stop()
    late = Listener(broker.port)
    await late.ready()
    assert await until(lambda: late.heard == [("hall/roomlink", b"offline", True)], 2)
    late.stop()
