"""The keys of a text device and its points are checked at load, with what would be right."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.drivers.registry import DriverConfigError, Fault, Registry

REGISTRY = Registry.of(plugins=[])
TCP: dict[str, Any] = {"driver": "text", "host": "10.0.0.5", "port": 23}
POINT: dict[str, Any] = {"send": "VOL {value:number}"}


def faults(device: dict[str, Any], *points: dict[str, Any]) -> list[Fault]:
    try:
        driver, config = REGISTRY.parse_device("switcher", device)
        REGISTRY.make_device(driver, config, [REGISTRY.parse_point(driver, point) for point in points])
    except DriverConfigError as error:
        return error.faults
    return []


def test_what_a_venue_writes_is_read() -> None:
    """Every key at once."""
    device = {
        **TCP,
        "transport": "tcp",
        "ending": "\r",
        "encoding": "utf-8",
        "greeting": "READY",
        "user": "booth",
        "password_file": "secrets/switcher",
        "login": [{"expect": "login:", "send": "{user} {password}"}],
        "pace": "20ms",
        "reply_timeout": "2s",
        "refused": "ERR {reason:text}",
        "polls": [{"send": "VOL?", "every": "5s", "expect": "VOL {level:number}"}],
        "commands": {"gain": {"send": "GAIN {zone} {value:integer}", "report": "GAIN {zone} {value:integer}"}},
    }
    assert faults(device, POINT, {"command": "gain", "with": {"zone": 3}}) == []
    serial = {"driver": "text", "transport": "serial", "path": "/dev/ttyUSB0", "baud": 38400, "parity": "even"}
    assert faults(serial, POINT) == []


def test_a_shared_command_names_each_place_by_its_constants() -> None:
    """One command, many zones, each a place of its own."""
    driver, config = REGISTRY.parse_device("d", {**TCP, "commands": {"gain": {"send": "G {zone} {value:integer}"}}})
    points = [REGISTRY.parse_point(driver, {"command": "gain", "with": {"zone": zone}}) for zone in (1, "two")]
    assert [driver.point_name(config, point) for point in points] == ["G 1 {value}", "G two {value}"]


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"transport": "serial"}, "path"),
        ({"host": None}, "host and a port"),
        ({"port": 0}, "too low"),
        ({"path": "/dev/x"}, "no path"),
        ({"transport": "smoke"}, "not known here"),
        ({"ending": ""}, "only over udp"),
        ({"ending": "ending"}, "line ending"),
        ({"encoding": "latin-1"}, "not known here"),
        ({"pace": 5}, "not a duration"),
        ({"reply_timeout": "0s"}, "no time"),
        ({"greeting": "{x"}, "greeting"),
        ({"polls": [{"send": "{zone}", "every": "1s"}]}, "with:"),
        ({"polls": [{"send": "{v:number}", "every": "1s"}]}, "nothing is known for v"),
        ({"login": [{"send": "{password}"}]}, "password"),
        ({"polls": [{"send": "état?", "every": "1s"}]}, "ascii"),
        ({"polls": [{"send": "a;b", "every": "1s"}], "ending": ";"}, "ending"),
        ({"login": [{"send": "{password:text}"}]}, "nothing is known for password"),
        ({"volume": 3}, "unknown key 'volume'"),
    ],
)
def test_a_device_that_makes_no_sense_is_refused(keys: dict[str, Any], says: str) -> None:
    """With a sentence, and without a stack trace."""
    assert any(says in fault.text + fault.right for fault in faults({**TCP, **keys}))


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ({}, "lines of its own"),
        ({"send": "TOGGLE"}, "has no {value}"),
        ({"send": "VOL {value:number} {zone:word}"}, "nothing is known for zone"),
        ({"send": "VOL {value:number}", "report": "VOL"}, "has no {value}"),
        ({"send": "VOL {zone} {value:number}"}, "with:"),
        ({"command": "gain"}, "no command 'gain'"),
        ({"command": "gain", "send": "VOL {value:number}"}, "or a command"),
        ({"sned": "VOL {value:number}"}, "did you mean 'send'"),
    ],
)
def test_a_point_that_makes_no_sense_is_refused(point: dict[str, Any], says: str) -> None:
    """A line that is the same for every value cannot drive anything."""
    found = faults(TCP, point)
    assert any(says in fault.text + fault.right for fault in found), found
