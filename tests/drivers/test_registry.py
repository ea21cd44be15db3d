"""Drivers are found by name, and what a venue writes for them is read with plain sentences for what is wrong."""

from __future__ import annotations

import sys
from importlib.metadata import EntryPoint
from typing import Any

import pytest
from pydantic import Field

from roomlink.drivers.durations import Duration, Strict
from roomlink.drivers.port import Driver
from roomlink.drivers.registry import BUILT_IN, GROUP, DriverConfigError, Fault, Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench


class _Part(Strict):
    size: int = Field(1, ge=1, le=9, description="how large")


class _Config(Strict):
    host: str = Field(min_length=1, max_length=5, description="where it is")
    wait: Duration = 0.0
    mode: str = Field("a", pattern="^[ab]$")
    ok: bool = False
    parts: list[_Part] = Field(default_factory=list, max_length=2)
    table: dict[str, _Part] = Field(default_factory=dict)


class _Point(Strict):
    name: str
    loud: bool = False


def _make(config: Any, points: Any) -> Any:
    if "bad" in points:
        raise ValueError("no point is called bad here")
    return config, points


LAMP = Driver("lamp", _Config, _Point, _make, lambda _config, point: str(point.name))
OTHER = Driver("http", _Config, _Point, _make, lambda _config, point: str(point.name))
NOT_A_DRIVER = "lamp"


def entry(name: str, value: str) -> EntryPoint:
    return EntryPoint(name, value, GROUP)


def faults(raw: dict[str, Any]) -> list[Fault]:
    with pytest.raises(DriverConfigError) as caught:
        Registry.of(LAMP, plugins=[]).parse_device("d", {"driver": "lamp", **raw})
    return caught.value.faults


@pytest.mark.parametrize("name", sorted(BUILT_IN))
def test_every_built_in_driver_is_found_by_its_name(name: str) -> None:
    """And is what it is called."""
    found = Registry.of(plugins=[]).find(name)
    assert isinstance(found, Driver)
    assert found.name == name
    assert found.conformity.endswith(".")


def test_a_name_that_is_no_driver_is_told_with_those_that_are() -> None:
    """With the nearest first."""
    with pytest.raises(DriverConfigError) as caught:
        Registry.of(plugins=[]).parse_device("d", {"driver": "modbsu"})
    (fault,) = caught.value.faults
    assert fault.path == ("driver",)
    assert fault.right.startswith("did you mean 'modbus'? write one of e131, http, ")


def test_a_missing_library_only_hurts_the_driver_that_needs_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """And the sentence says what to install."""
    for module in [name for name in sys.modules if name.startswith("roomlink.drivers.http")]:
        monkeypatch.delitem(sys.modules, module)
    monkeypatch.setitem(sys.modules, "httpx", None)
    registry = Registry.of(plugins=[])
    with pytest.raises(DriverConfigError) as caught:
        registry.find("http")
    (fault,) = caught.value.faults
    assert fault.text == "the driver http needs httpx, which is not installed"
    assert fault.right == 'install "roomlink[http]"'
    assert registry.find("text").name == "text"


def test_installed_drivers_are_added_and_bad_ones_reported() -> None:
    """One that cannot be loaded, is none, or takes another's name costs a sentence and nothing else."""
    here = __name__
    registry = Registry.of(
        plugins=[
            entry("lamp", f"{here}:LAMP"),
            entry("http", f"{here}:OTHER"),
            entry("fan", "no_such_module_here:DRIVER"),
            entry("bell", f"{here}:NOT_A_DRIVER"),
            entry("gong", f"{here}:LAMP"),
            entry("lamp", f"{here}:LAMP"),
        ]
    )
    assert registry.find("lamp") is LAMP
    assert registry.find("http") is not OTHER
    assert "lamp" in registry.names()
    assert "fan" not in registry.names()
    assert len(registry.problems) == 5
    assert any("'fan'" in problem and "ModuleNotFoundError" in problem for problem in registry.problems)
    assert any("'http'" in problem and "another driver has that name" in problem for problem in registry.problems)


def test_what_is_installed_here_is_looked_up() -> None:
    """Without being told what there is; roomlink itself works without any."""
    assert Registry.of().problems == []


def test_a_given_driver_comes_before_the_built_in_one() -> None:
    """So whoever rehearses holds the bench."""
    own = driver(Bench())
    assert Registry.of(own, plugins=[]).find("simulated") is own


def test_a_device_and_its_points_are_read_and_made() -> None:
    """From plain data, as the venue's file has it."""
    registry = Registry.of(LAMP, plugins=[])
    found, config = registry.parse_device("d", {"driver": "lamp", "host": "a", "wait": "300ms"})
    assert found is LAMP
    assert config == _Config(host="a", wait="300ms")  # type: ignore[arg-type]  # as it is written
    point = registry.parse_point(found, {"name": "one"})
    device: Any = registry.make_device(found, config, [point, point])
    assert device == (config, {"one": point})


def test_points_that_contradict_one_another_are_refused() -> None:
    """One place of a device is written one way; what the driver itself refuses is told as well."""
    registry = Registry.of(LAMP, plugins=[])
    with pytest.raises(DriverConfigError) as caught:
        registry.make_device(LAMP, _Config(host="a"), [_Point(name="one"), _Point(name="one", loud=True)])
    assert caught.value.faults == [
        Fault((), "the point 'one' is written in two ways", "write the same keys wherever it is used")
    ]
    with pytest.raises(DriverConfigError, match="no point is called bad here"):
        registry.make_device(LAMP, _Config(host="a"), [_Point(name="bad")])


@pytest.mark.parametrize(
    ("raw", "fault"),
    [
        ({}, Fault((), "'host' is missing", "write host: where it is")),
        ({"host": 3}, Fault(("host",), "3 is not a text", "write a word, or text in quotes")),
        ({"host": ""}, Fault(("host",), "'' is too short", "write at least 1 characters")),
        ({"host": "abcdef"}, Fault(("host",), "'abcdef' is too long", "write at most 5 characters")),
        (
            {"host": "a", "hots": 1},
            Fault(
                ("hots",),
                "unknown key 'hots'",
                "did you mean 'host'? write one of host, wait, mode, ok, parts, table",
                True,
            ),
        ),
        (
            {"host": "a", "wait": 3},
            Fault(("wait",), "3 is not a duration", "write a number and ms, s, min or h, such as 300ms or 3s"),
        ),
        ({"host": "a", "wait": "30h"}, Fault(("wait",), "30h is too long", "write at most 24h")),
        ({"host": "a", "mode": "c"}, Fault(("mode",), "string should match pattern '^[ab]$'", "")),
        ({"host": "a", "ok": "perhaps"}, Fault(("ok",), "'perhaps' is not true or false", "write true or false")),
        ({"host": "a", "parts": 1}, Fault(("parts",), "1 is not a list", "write it as [one, two]")),
        ({"host": "a", "parts": [{}] * 3}, Fault(("parts",), "a list has too many entries", "write at most 2")),
        ({"host": "a", "parts": [{"size": 10}]}, Fault(("parts", 0, "size"), "10 is too high", "write 9 or less")),
        (
            {"host": "a", "table": {"x": {"siz": 1}}},
            Fault(("table", "x", "siz"), "unknown key 'siz'", "did you mean 'size'? write one of size", True),
        ),
    ],
)
def test_what_is_wrong_is_said_plainly(raw: dict[str, Any], fault: Fault) -> None:
    """Where it is, what is wrong, and what would be right."""
    assert faults(raw) == [fault]


def test_all_that_is_wrong_is_said_at_once() -> None:
    """Not only the first."""
    assert [fault.path for fault in faults({"wait": "x", "parts": [{"size": 0}]})] == [
        (),
        ("wait",),
        ("parts", 0, "size"),
    ]
