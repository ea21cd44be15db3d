"""Alarms at a real broker: one retained document that is as they are now."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.alarm_commands import AcknowledgeAlarm, ReportTrouble
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.outputs import Outputs
from roomlink.runtime.writer import Writer
from roomlink.testing import venues
from tests.contracts.driver import until
from tests.drivers.mqtt.broker import Broker, Listener
from tests.drivers.ports import free_tcp

TOPIC = "hall/alarms"
FEED = "feed/office"


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    broker = Broker(tmp_path, free_tcp())
    await broker.start()
    yield broker
    await broker.stop()


@pytest.fixture
async def writer(broker: Broker) -> AsyncIterator[Writer]:
    data = venues.row(
        2,
        devices={"broker": {"driver": "mqtt", "host": "127.0.0.1", "port": broker.port}},
        alarms={"mqtt": {"device": "broker", "point": {"topic": TOPIC}}},
    )
    clock = SystemClock()
    writer = Writer(State(), 0, MemoryJournal(), clock, Metrics())
    writer.start()
    await writer.submit(Configure(SERVICE, data, "c1"))
    outputs = Outputs(writer, Registry.of(driver(Bench(clock.stamp)), plugins=()))
    outputs.start()
    yield writer
    await outputs.stop()
    await writer.stop()


async def holds(true: Callable[[], bool]) -> None:
    assert await until(true, 4.0)


def newest(listener: Listener) -> dict[str, Any]:
    found = listener.of(TOPIC)
    return json.loads(found[-1]) if found else {}


async def test_alarms_are_published_as_they_change_and_retained(broker: Broker, writer: Writer) -> None:
    """None at first; each change makes it anew; whoever comes later gets how it is now."""
    first = Listener(broker.port)
    await first.ready()
    await holds(lambda: newest(first).get("alarms") == {})
    await writer.submit(ReportTrouble(SERVICE, FEED, "the calendar cannot be had"))
    await holds(lambda: newest(first).get("unacknowledged") == 1)
    shown = newest(first)["alarms"][FEED]
    assert (shown["state"], shown["priority"], shown["text"]) == (
        "unacknowledged",
        "low",
        "the calendar cannot be had",
    )
    await writer.submit(AcknowledgeAlarm(SERVICE, FEED))
    await holds(lambda: newest(first)["alarms"][FEED]["state"] == "acknowledged")
    late = Listener(broker.port)
    await late.ready()
    await holds(lambda: newest(late).get("standing") == 1)
    assert [retained for topic, _, retained in late.heard if topic == TOPIC] == [True]
    await writer.submit(ReportTrouble(SERVICE, FEED))
    await holds(lambda: newest(late)["alarms"] == {})
    first.stop()
    late.stop()
