"""Ceilings: no order passes a zone's highest level, whoever gives it and how; and mutes that a raised level lets go."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.commands import LinkZone, RecallScene, ReportControl
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver
from tests.core.booked import at, book, data

LOW = {**venues.section(), "volume": venues.level(ceiling=-20.0, start=-40.0)}


def hall(**more: Any) -> Driver:
    """Two zones; b has a ceiling of its own."""
    members: dict[str, Any] = {"zone_controls": {"b": LOW}, **more}
    return Driver(venues.row(2, **members))


def loud(driver: Driver) -> float:
    value: float = driver.value("b", "volume")
    return value


def test_set_and_raise_stop_at_the_zones_own_ceiling() -> None:
    """The zone beside it has none."""
    driver = hall()
    driver.link("a-panel", "b")
    driver.set("a-panel", "volume", -5.0)
    assert (driver.value("a", "volume"), loud(driver)) == (-5.0, -20.0)
    driver.act("a-panel", "volume", "raise")
    driver.advance(30.0)
    assert (driver.value("a", "volume"), loud(driver)) == (0.0, -20.0)


@pytest.mark.parametrize("rule", ["lead", "loudest", "mean", -3.0])
def test_combining_does_not_pass_it(rule: Any) -> None:
    """Whatever the rule says."""
    driver = hall(combining=venues.lead_by_order("ab", on_combine={"volume": rule}))
    driver.set("a", "volume", 0.0)
    driver.wall("a-b", "open")
    assert loud(driver) <= -20.0


def test_offset_and_carry_do_not_pass_it() -> None:
    """The difference lives on in the link, not in the zone."""
    shift = hall(panel={"level_mode": "offset"})
    shift.link("a-panel", "b")
    shift.set("a-panel", "volume", 0.0)
    assert loud(shift) == -20.0
    carry = hall(panel={"on_link": "carry"})
    carry.set("a-panel", "volume", -2.0)
    carry.do(LinkZone(FINGER, "a-panel", "b"))
    carry.advance(10.0)
    assert loud(carry) == -20.0


def test_scenes_do_not_pass_it() -> None:
    """Those of before the ceiling was set included."""
    scenes = {"loud": {"zone": "b", "values": {"volume": -1.0}}}
    driver = hall(scenes=scenes)
    driver.do(RecallScene(PLAIN, "loud"))
    assert loud(driver) == -20.0


def test_a_report_from_a_device_is_taken_no_higher() -> None:
    """So that the device is driven back to it."""
    driver = hall()
    driver.do(ReportControl(PLAIN, "b", "volume", -3.0))
    assert loud(driver) == -20.0


def test_a_lower_ceiling_brings_the_level_down_at_once() -> None:
    """With the configuration that says so."""
    driver = hall(zone_controls={})
    driver.set("b", "volume", -3.0)
    driver.configure(venues.row(2, zone_controls={"b": LOW}))
    assert driver.value("b", "volume") == -20.0


# Raising unmutes


def unmuting(**more: Any) -> Driver:
    controls = {**venues.section(), "volume": venues.level(unmute_on_raise="mute"), "mute": venues.switch(start=True)}
    return Driver(data(controls=controls, **more))


def test_raising_by_hand_unmutes() -> None:
    """Held up, or set higher; through a controller in all its zones."""
    driver = unmuting()
    driver.link("a-panel", "b")
    driver.act("a-panel", "volume", "raise")
    assert [driver.value(zone, "mute") for zone in "abc"] == [False, False, True]
    driver.set("c", "volume", -40.0)
    assert driver.value("c", "mute") is True
    driver.set("c", "volume", -39.0)
    assert driver.value("c", "mute") is False


def test_the_diary_and_walls_never_unmute() -> None:
    """Nor does a level that names no mute."""
    scenes = {"loud": {"type": "section", "values": {"volume": -1.0}}}
    combining = venues.lead_by_order("abc", on_combine={"volume": "loudest"})
    driver = unmuting(scenes=scenes, combining=combining)
    book(driver, "a", 10, 20, scene="loud")
    driver.advance_to(at(11))
    driver.wall("a-b", "open")
    assert driver.values("volume", "ab") == [-1.0, -1.0]
    assert driver.values("mute", "ab") == [True, True]
    plain = Driver(venues.row(1, controls={**venues.section(), "mute": venues.switch(start=True)}))
    plain.act("a", "volume", "raise")
    assert plain.value("a", "mute") is True
