"""The section ``alarms``: what it resolves to, and what is told of mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import VenueFault
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, write_venue

DEVICES = """
devices:
  broker: {driver: mqtt, host: broker.example}
  lamp: {driver: simulated}
overrides:
  key: {kind: lockout, input: {device: lamp, point: {name: key}}, zones: all}
"""
SOUND = """
alarms:
  priorities: {wall-unknown: high, device-lost/lamp: low}
  suppressed:
    - {alarm: wall-late, why: no contacts yet}
    - {alarm: device-lost/lamp, why: the key is turned, while: {override: key}}
    - {alarm: device-lost/lamp, why: it is behind the broker, while: {alarm: device-lost/broker}}
  mqtt: {device: broker, topic: hall/alarms}
"""
RULES = DriverRules(Registry.of(driver(Bench())))


def test_it_is_resolved_for_the_core(tmp_path: Path) -> None:
    """Each suppression says what must stand; the topic is a point of the broker."""
    loaded = load(write_venue(tmp_path, HARBOUR + DEVICES + SOUND), RULES)
    assert loaded.data["alarms"] == {
        "priorities": {"wall-unknown": "high", "device-lost/lamp": "low"},
        "suppressed": [
            {"alarm": "wall-late", "why": "no contacts yet", "override": None, "other": None},
            {"alarm": "device-lost/lamp", "why": "the key is turned", "override": "key", "other": None},
            {
                "alarm": "device-lost/lamp",
                "why": "it is behind the broker",
                "override": None,
                "other": "device-lost/broker",
            },
        ],
        "mqtt": {"device": "broker", "point": {"topic": "hall/alarms"}},
    }
    assert loaded.spec.alarms.priority("wall-unknown/heron-plover") == "high"


def test_a_kind_may_give_way_for_one_of_its_own(tmp_path: Path) -> None:
    """All devices are behind the broker, but for itself."""
    text = "alarms: {suppressed: [{alarm: device-lost, why: behind it, while: {alarm: device-lost/broker}}]}"
    (one,) = load(write_venue(tmp_path, f"{HARBOUR}{DEVICES}\n{text}\n"), RULES).spec.alarms.suppressed
    assert (one.alarm, one.other) == ("device-lost", "device-lost/broker")


def test_a_venue_that_says_nothing_of_it_keeps_its_data(tmp_path: Path) -> None:
    """So that an update of the service is no change of the configuration."""
    assert "alarms" not in load(write_venue(tmp_path)).data


@pytest.mark.parametrize(
    ("text", "at", "said"),
    [
        ("priorities: {device-lost/lmap: low}", "alarms.priorities.device-lost/lmap", "device-lost"),
        ("priorities: {wall-unknown: urgent}", "alarms.priorities.wall-unknown", "high"),
        ("suppressed: [{alarm: wall-gone, why: x}]", "alarms.suppressed[0].alarm", "wall-unknown"),
        ("suppressed: [{alarm: wall-late}]", "alarms.suppressed[0]", "'why' is missing"),
        ("suppressed: [{alarm: wall-late, why: x, while: {}}]", "alarms.suppressed[0].while", "override: or alarm:"),
        ("suppressed: [{alarm: wall-late, why: x, while: {override: kye}}]", "while.override", "key"),
        ("suppressed: [{alarm: wall-late, why: x, while: {alarm: wall-late}}]", "while.alarm", "wall-late/"),
        (
            "suppressed: [{alarm: device-lost/lamp, why: x, while: {alarm: device-lost/broker}},"
            " {alarm: device-lost/broker, why: x, while: {alarm: device-lost/lamp}}]",
            "alarms.suppressed[1].while.alarm",
            "in a circle",
        ),
        (
            "suppressed: [{alarm: device-lost, why: x, while: {alarm: wall-late/heron-plover}},"
            " {alarm: wall-late, why: x, while: {alarm: device-lost/lamp}}]",
            "alarms.suppressed[0].while.alarm",
            "in a circle",
        ),
        ("mqtt: {device: borker, topic: hall/alarms}", "alarms.mqtt.device", "broker"),
        ("mqtt: {device: lamp, topic: hall/alarms}", "alarms.mqtt.device", "driver: mqtt"),
        ("mqtt: {device: broker, topic: 'hall/#'}", "alarms.mqtt.topic", "#"),
        ("colour: red", "alarms.colour", "priorities"),
    ],
)
def test_mistakes_are_told_with_their_place_and_what_would_be_right(
    tmp_path: Path, text: str, at: str, said: str
) -> None:
    """Dangling names, too."""
    with pytest.raises(VenueFault) as fault:
        load(write_venue(tmp_path, f"{HARBOUR}{DEVICES}\nalarms: {{{text}}}\n"), RULES)
    assert any(at in str(finding) and said in str(finding) for finding in fault.value.findings), [
        str(finding) for finding in fault.value.findings
    ]
