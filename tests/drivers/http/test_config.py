"""The keys of an HTTP device and its points are checked at load, with what would be right."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.drivers.registry import DriverConfigError, Fault, Registry

REGISTRY = Registry.of(plugins=[])
DEVICE: dict[str, Any] = {"driver": "http", "base": "http://10.0.0.5/api/"}


def faults(device: dict[str, Any], *points: dict[str, Any]) -> list[Fault]:
    try:
        driver, config = REGISTRY.parse_device("d", device)
        REGISTRY.make_device(driver, config, [REGISTRY.parse_point(driver, point) for point in points])
    except DriverConfigError as error:
        return error.faults
    return []


def test_what_a_venue_writes_is_read() -> None:
    """Every key at once."""
    device = {
        **DEVICE,
        "base": "https://mixer.example:8443",
        "headers": {"X-Room": "heron"},
        "secret_headers": {"Authorization": "secrets/mixer"},
        "ca_file": "certificates/mixer.pem",
        "timeout": "1s",
        "poll": "2s",
    }
    report = {"path": "/zones?all=1", "member": "zones.0.volume", "every": "1s"}
    assert faults(device, {"method": "POST", "path": "/set", "body": {"v": "{value}"}, "report": report}) == []
    assert faults(device, {"report": report}) == []


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"base": "ftp://x"}, "no address"),
        ({"base": "10.0.0.5"}, "http://"),
        ({"base": "http://"}, "no address"),
        ({"base": "http://x:99999"}, "no address"),
        ({"base": "http://x/?a=1"}, "no address"),
        ({"base": "http://[x"}, "no address"),
        ({"base": "http://me:hush@x"}, "secret_headers"),
        ({"headers": {"Authorization": "Bearer hush"}}, "is a secret"),
        ({"headers": {"Host": "x"}}, "cannot be set"),
        ({"headers": {"X": "a\r\nY: b"}}, "cannot"),
        ({"secret_headers": {"a b": "f"}}, "cannot be set"),
        ({"timeout": "10s"}, "too high"),
        ({"poll": "0s"}, "no time"),
        ({"bas": "x"}, "did you mean 'base'"),
    ],
)
def test_a_device_that_makes_no_sense_is_refused(keys: dict[str, Any], says: str) -> None:
    """With a sentence that shows no secret."""
    found = faults({**DEVICE, **keys})
    assert any(says in fault.text + fault.right for fault in found), found
    assert "hush" not in str(found)


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ({}, "set, or read"),
        ({"path": "x/{value}"}, "no path"),
        ({"path": "/a b/{value}"}, "%20"),
        ({"path": "/a#{value}"}, "no path"),
        ({"path": "/{zone}/{value}"}, "no path"),
        ({"path": "/toggle"}, "{value}"),
        ({"method": "GET", "path": "/{value}", "body": 1}, "no body"),
        ({"body": "{value}", "report": {"path": "/x"}}, "nowhere"),
        ({"report": {"path": "/{value}"}}, "leave it out"),
        ({"path": "/x", "body": ["{value}", "x" * 9000]}, "8192"),
        ({"path": "/x", "body": {"a": {1, 2}}}, "JSON"),
        ({"report": {"member": "a"}}, "write path"),
        ({"report": {"path": "/x", "evry": "1s"}}, "did you mean 'every'"),
    ],
)
def test_a_point_that_makes_no_sense_is_refused(point: dict[str, Any], says: str) -> None:
    """A request that is the same for every value cannot drive anything."""
    found = faults(DEVICE, point)
    assert any(says in fault.text + fault.right for fault in found), found


def test_points_are_told_apart_by_their_requests() -> None:
    """One path may set several members."""
    driver, config = REGISTRY.parse_device("d", DEVICE)
    raw = [
        {"path": "/z", "body": {"volume": "{value}"}},
        {"path": "/z", "body": {"mute": "{value}"}},
        {"method": "GET", "path": "/z?m={value}"},
        {"report": {"path": "/z", "member": "volume"}},
    ]
    names = [driver.point_name(config, REGISTRY.parse_point(driver, point)) for point in raw]
    assert names == ['PUT /z {"volume":"{value}"}', 'PUT /z {"mute":"{value}"}', "GET /z?m={value}", "GET /z volume"]
