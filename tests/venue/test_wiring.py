"""Devices and their points, proved by the drivers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]
Wired = Callable[[dict[str, Any]], Loaded]

HOUSE = {"control": "heron.house", "device": "dmx-1", "point": {"channel": 1}}


def house(zone: str, **point: Any) -> dict[str, Any]:
    return {**HOUSE, "control": f"{zone}.house", "point": point}


def test_a_sound_venue_is_sound_to_the_drivers(wired: Wired, sound: dict[str, Any]) -> None:
    """Devices keep their keys as they are written."""
    loaded = wired(sound)
    assert loaded.warnings == []
    assert loaded.data["devices"] == {"dmx-1": {"driver": "e131", "universe": 1}, "panel": {"driver": "simulated"}}


@pytest.mark.parametrize(
    ("path", "value", "key", "text", "right"),
    [
        ("devices.dmx-1.driver", "e132", "devices.dmx-1.driver", "no driver named 'e132'", "did you mean 'e131'?"),
        ("devices.dmx-1.universe", 0, "devices.dmx-1.universe", "too low", "1 or more"),
        ("devices.dmx-1.universe", ..., "devices.dmx-1", "'universe' is missing", "write universe:"),
        ("devices.dmx-1.univers", 1, "devices.dmx-1.univers", "unknown key", "did you mean 'universe'?"),
        ("bindings.0.point", {"channel": 513}, "bindings[0].point.channel", "too high", "512 or less"),
        ("bindings.0.point", {"chanel": 1}, "bindings[0].point.chanel", "unknown key", "did you mean 'channel'?"),
        ("overrides.fire.input.point", {}, "overrides.fire.input.point", "'name' is missing", "write name:"),
    ],
)
def test_what_a_driver_does_not_take_is_told_at_its_place(
    spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]], path: str, value: Any, key: str, text: str, right: str
) -> None:
    """In the driver's words; points of a device with mistakes are not blamed."""
    found = {f.key: f for f in wiring_faults(spoilt(path, value))}
    assert text in found[key].text
    assert right in found[key].right
    # A misspelt key is also missing under its right name.
    assert found.keys() - {key} <= {key.rpartition(".")[0]}


def test_a_point_is_driven_once(spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]]) -> None:
    """Two controls would fight over it."""
    (found,) = wiring_faults(spoilt("bindings", [HOUSE, house("plover", channel=1, bits=8)]))
    assert found.key == "bindings[1].point"
    assert f"driven already, at {found.file}:1:" in found.text


def test_a_point_is_driven_once_even_if_no_driver_looks(spoilt: Spoilt, faults: Callable[..., list[Finding]]) -> None:
    """Points that are written alike are alike."""
    (found,) = faults(spoilt("bindings", [HOUSE, house("plover", channel=1)]))
    assert "driven already" in found.text


def test_points_that_overlap_are_refused(
    spoilt: Spoilt, wired: Wired, wiring_faults: Callable[..., list[Finding]]
) -> None:
    """A value of 16 bits takes the next channel too."""
    (found,) = wiring_faults(spoilt("bindings", [house("heron", channel=1, bits=16), house("plover", channel=2)]))
    assert (found.key, "overlaps" in found.text) == ("bindings[1].point", True)
    wired(spoilt("bindings", [house("heron", channel=1, bits=16), house("plover", channel=3)]))


def test_two_devices_at_one_address_are_refused(
    spoilt: Spoilt, wired: Wired, wiring_faults: Callable[..., list[Finding]]
) -> None:
    """They would send against each other; another universe is another address."""
    (found,) = wiring_faults(spoilt("devices.dmx-2", {"driver": "e131", "universe": 1, "priority": 90}))
    assert found.key == "devices.dmx-2"
    assert "dmx-1 is at the same address already: universe 1" in found.text
    wired(spoilt("devices.dmx-2", {"driver": "e131", "universe": 2}))
    wired(spoilt("devices.panel-2", {"driver": "simulated"}))
