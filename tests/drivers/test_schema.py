"""The keys of drivers in the JSON Schema for editors."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from roomlink.cli import main
from roomlink.drivers.port import Driver
from roomlink.drivers.registry import BUILT_IN, DriverConfigError, Fault, Registry
from roomlink.drivers.schema import duration, with_drivers
from roomlink.venue.schema import schema

EXAMPLE = Path(__file__).parents[2] / "config" / "protocols"
REGISTRY = Registry.of(plugins=())


def references(part: object) -> Iterator[str]:
    if isinstance(part, dict):
        if isinstance(part.get("$ref"), str):
            yield part["$ref"]
        for inner in part.values():
            yield from references(inner)
    elif isinstance(part, list):
        for inner in part:
            yield from references(inner)


def test_the_command_line_prints_them_when_asked(capsys: pytest.CaptureFixture[str]) -> None:
    """`roomlink schema` alone stays what is committed."""
    assert main(["schema", "--drivers"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made == with_drivers(schema(), Registry.of())
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == schema()


def test_the_venues_own_schema_is_left_as_it_was() -> None:
    """What is added is added to a copy."""
    own = schema()
    with_drivers(own, REGISTRY)
    assert own == schema()


def test_every_driver_has_its_device_and_its_point() -> None:
    """And a device is held to its driver's keys, the one that names the driver among them."""
    made = with_drivers(schema(), REGISTRY)
    device = made["$defs"]["Device"]
    assert device["properties"]["driver"]["enum"] == sorted(BUILT_IN)
    tied = {rule["if"]["properties"]["driver"]["const"]: rule["then"]["$ref"] for rule in device["allOf"]}
    assert tied == {name: f"#/$defs/driver-{name}-device" for name in sorted(BUILT_IN)}
    for name in BUILT_IN:
        keys = made["$defs"][f"driver-{name}-device"]
        assert keys["properties"]["driver"]["const"] == name
        assert keys["additionalProperties"] is False
        assert made["$defs"][f"driver-{name}-point"]["properties"]


def test_every_reference_leads_to_a_definition() -> None:
    """Also those of the parts that drivers have within their keys."""
    made = with_drivers(schema(), REGISTRY)
    for reference in references(made):
        assert reference.removeprefix("#/$defs/") in made["$defs"], reference


def test_the_keys_of_the_example_venues_devices_are_in_it() -> None:
    """Names, and what is required."""
    made = with_drivers(schema(), REGISTRY)
    devices = YAML(typ="safe", pure=True).load((EXAMPLE / "equipment.yaml").read_text(encoding="utf-8"))["devices"]
    for device in devices.values():
        keys: dict[str, Any] = made["$defs"][f"driver-{device['driver']}-device"]
        assert device.keys() <= keys["properties"].keys()
        assert set(keys.get("required", ())) <= device.keys()


def test_durations_have_their_defaults_as_they_are_written() -> None:
    """500ms, not 0.5; also in a part."""
    made = with_drivers(schema(), REGISTRY)["$defs"]
    assert made["driver-modbus-device"]["properties"]["poll"]["default"] == "100ms"
    assert made["driver-modbus-Heartbeat"]["properties"]["every"]["default"] == "500ms"


@pytest.mark.parametrize(
    ("seconds", "written"),
    [(0.05, "50ms"), (0.5, "500ms"), (1, "1s"), (2.5, "2500ms"), (90, "90s"), (120, "2min"), (3600, "1h"), (0, "0s")],
)
def test_seconds_become_a_duration(seconds: float, written: str) -> None:
    """In the largest unit that leaves a whole number."""
    assert duration(seconds) == written


def test_a_driver_whose_library_is_not_installed_is_named_and_no_more() -> None:
    """Its devices may have any keys."""

    class Lacking(Registry):
        def find(self, name: str) -> Driver:
            if name == "mqtt":
                raise DriverConfigError([Fault(("driver",), "the driver mqtt needs aiomqtt", "install it")])
            return super().find(name)

    made = with_drivers(schema(), Lacking.of(plugins=()))
    assert "mqtt" in made["$defs"]["Device"]["properties"]["driver"]["enum"]
    assert not [name for name in made["$defs"] if re.match("driver-mqtt", name)]
