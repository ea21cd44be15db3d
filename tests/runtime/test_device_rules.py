"""What the drivers know, as a venue asks for it."""

from __future__ import annotations

from dataclasses import replace

from roomlink.drivers.registry import Registry
from roomlink.runtime.device_rules import DriverDevice, DriverRules
from roomlink.venue.rules import Complaint, Point

RULES = DriverRules(Registry.of(plugins=[]))


def device(raw: dict[str, object]) -> DriverDevice:
    found = RULES.device("dmx-1", raw)
    assert isinstance(found, DriverDevice)
    return found


def test_a_device_tells_its_range_its_address_and_its_points() -> None:
    """As its driver has them."""
    dmx = device({"driver": "e131", "universe": 7})
    assert dmx.native == (0.0, 1.0)
    assert dmx.address is not None
    assert dmx.address.startswith("universe 7, ")
    wide, next_one = dmx.point({"channel": 1, "bits": 16}), dmx.point({"channel": 2})
    assert isinstance(wide, Point)
    assert isinstance(next_one, Point)
    assert (wide.name, next_one.name) == ("1+2", "2")
    assert dmx.overlaps is not None
    assert dmx.overlaps(wide.parsed, next_one.parsed)
    assert dmx.together([next_one.parsed]) == []


def test_what_is_wrong_comes_as_complaints() -> None:
    """With the path below the device or the point."""
    (complaint,) = RULES.device("dmx-1", {"driver": "nothing-like-it"})  # type: ignore[misc]  # complaints, as asserted
    assert isinstance(complaint, Complaint)
    assert complaint.path == ("driver",)
    (unknown,) = device({"driver": "e131", "universe": 1}).point({"channel": 1, "bit": 8})  # type: ignore[misc]  # same
    assert (unknown.path, unknown.on_key) == (("bit",), True)


def test_devices_without_a_place_of_their_own_have_no_address() -> None:
    """Many devices may use one broker."""
    broker = RULES.device("lamp", {"driver": "mqtt", "host": "broker.local"})
    assert isinstance(broker, list) or broker.address is None


TEXT = {"driver": "text", "transport": "tcp", "host": "127.0.0.1", "port": 5000}


def test_a_command_that_a_device_lacks_is_a_complaint() -> None:
    """Not a fault of the whole check."""
    projector = device({**TEXT, "commands": {"power": {"send": "PWR ON"}}})
    (complaint,) = projector.point({"command": "powr"})  # type: ignore[misc]  # complaints, as asserted
    assert isinstance(complaint, Complaint)


def test_a_driver_that_stumbles_over_a_point_hides_no_other_finding() -> None:
    """Whatever it raises becomes a complaint at that point."""
    dmx = device({"driver": "e131", "universe": 7})

    def stumble(*_: object) -> str:
        raise LookupError("no such thing")

    stumbling = replace(dmx, driver=replace(dmx.driver, point_name=stumble))
    (complaint,) = stumbling.point({"channel": 1})  # type: ignore[misc]  # complaints, as asserted
    assert isinstance(complaint, Complaint)
    assert "no such thing" in complaint.text
