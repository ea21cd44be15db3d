"""Bookings fence: a wall that opens between two live bookings combines nothing until a technician decides."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import fences
from roomlink.core.commands import CombineWall
from roomlink.errors import Refused
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import book, cancel, hall

RULES = {"on_combine": {"volume": "lead", "mute": "lead", "program": "lead"}}


def evening(**more: Any) -> Driver:
    """``a`` and ``c`` have bookings of their own for two hours, ``b`` is idle; it is ten minutes later."""
    driver = hall(combining=venues.lead_by_order("abc", **RULES), **more)
    book(driver, "a", 0, 120, name="dinner")
    book(driver, "c", 0, 120, name="party")
    driver.advance(600.0)
    return driver


def fenced(driver: Driver, wall: str = "b-c") -> tuple[bool, bool]:
    """Whether a wall is fenced, and whether its alarm stands."""
    division, alarm = driver.state.divisions.get(wall), driver.state.alarms.get(f"fence/{wall}")
    return division is not None and division.why == "fence", alarm is not None and alarm.stands


def test_a_wall_that_opens_between_two_live_bookings_combines_nothing_and_raises_one_alarm() -> None:
    """Also where an idle zone that has joined one of them lies between."""
    driver = evening()
    driver.wall("a-b", "open")
    before = dict(driver.state.controls)
    driver.wall("b-c", "open")
    assert driver.groups() == [["a", "b"], ["c"]]
    assert fenced(driver) == (True, True)
    assert dict(driver.state.controls) == before
    assert list(driver.state.alarms.live()) == [fences.alarm_of("b-c")]


def test_two_walls_that_open_at_once_on_either_side_of_an_idle_zone_fence_one() -> None:
    """The first joins the idle zone to its booking; the second would bring the two together."""
    driver = evening(wall={"settle": 2.0})
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    driver.advance(2.0)
    assert (driver.groups(), fenced(driver), fenced(driver, "a-b")) == (
        [["a", "b"], ["c"]], (True, True), (False, False),
    )  # fmt: skip


def test_opening_from_an_idle_zone_onto_a_live_booking_changes_nothing_for_the_live_one() -> None:
    """Whoever was used last, and whatever the rules say of equals."""
    driver = hall(combining=venues.lead_by_order("abc", on_combine={"volume": "quietest", "mute": "lead"}))
    book(driver, "b", 0, 120)
    driver.advance(600.0)
    driver.set("b", "volume", -12.0)
    driver.advance(60.0)
    driver.set("a", "volume", -50.0)
    driver.set("a", "mute", True)
    driver.wall("a-b", "open")
    assert driver.values("volume", "ab") == [-12.0, -12.0]
    assert driver.values("mute", "ab") == [False, False]


def test_an_idle_zone_that_parts_from_a_live_booking_changes_nothing_for_it() -> None:
    """Whatever ``on_separate`` says, or a new lead: the one that leaves gets back what it had."""
    rules = {"on_combine": {**RULES["on_combine"], "volume": -35.0}, "on_separate": {"volume": "restore", "mute": True}}
    for zones in ("b", "bc"):
        driver = hall(combining=venues.lead_by_order("abc", **rules))
        book(driver, zones, 0, 120)
        driver.advance(600.0)
        driver.wall("b-c", "open")
        driver.set("b", "volume", -40.0)
        driver.wall("a-b", "open")
        driver.set("b", "volume", -12.0)
        driver.wall("a-b", "closed")
        driver.wall("b-c", "open" if "c" in zones else "closed")
        assert (driver.value("b", "volume"), driver.value("b", "mute")) == (-12.0, False)
        assert driver.value("a", "mute") is True


def test_a_technician_combines_them_all_the_same_or_keeps_them_apart() -> None:
    """Either answers the alarm; a panel may not."""
    for combine, groups in ((True, [["a", "b", "c"]]), (False, [["a", "b"], ["c"]])):
        driver = evening()
        driver.wall("a-b", "open")
        driver.wall("b-c", "open")
        with pytest.raises(Refused) as refusal:
            driver.do(CombineWall(PLAIN, "b-c", combine, "c-panel"))
        assert refusal.value.kind == "fenced"
        driver.do(CombineWall(PLAIN, "b-c", combine))
        assert (driver.groups(), fenced(driver)) == (groups, (False, False))


def test_closing_the_wall_ends_the_fence_and_its_alarm() -> None:
    """Opened again it is fenced again."""
    driver = evening()
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    driver.wall("b-c", "closed")
    assert fenced(driver) == (False, False)
    driver.wall("b-c", "open")
    assert fenced(driver) == (True, True)


def test_when_one_of_the_bookings_is_over_the_fence_becomes_a_question() -> None:
    """Nothing combines because somebody went home."""
    for end in (lambda d: d.advance(7200.0), lambda d: cancel(d, "party")):
        driver = evening()
        driver.wall("a-b", "open")
        driver.wall("b-c", "open")
        end(driver)
        assert fenced(driver) == (False, False)
        assert (driver.groups(), driver.state.divisions["b-c"].why) == ([["a", "b"], ["c"]], "ask")


def test_when_walls_elsewhere_leave_no_booking_on_one_side_the_fence_becomes_a_question() -> None:
    """The idle zone between has nothing to do with the other booking any more."""
    driver = evening()
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    driver.wall("a-b", "closed")
    assert (fenced(driver), driver.state.divisions["b-c"].why) == ((False, False), "ask")


def test_a_wall_inside_one_booking_is_no_fence() -> None:
    """Nor is one between people whom a technician has let together already."""
    driver = hall(combining=venues.lead_by_order("abc"))
    book(driver, "ab", 0, 120)
    driver.advance(60.0)
    driver.wall("a-b", "open")
    assert (driver.groups()[0], fenced(driver, "a-b")) == (["a", "b"], (False, False))


def test_no_panel_lets_two_bookings_together_one_of_which_began_beyond_an_open_wall() -> None:
    """The wall asks since before; a technician may answer yes, and any panel no."""
    driver = hall(combining=venues.lead_by_order("abc", **RULES), wall={"combine": "ask"})
    book(driver, "a", 0, 120, name="dinner")
    book(driver, "b", 30, 120, name="party")
    driver.wall("a-b", "open")
    driver.advance(2400.0)
    with pytest.raises(Refused) as refusal:
        driver.do(CombineWall(PLAIN, "a-b", True, "a-panel"))
    assert refusal.value.kind == "fenced"
    driver.do(CombineWall(PLAIN, "a-b", False, "a-panel"))
    driver.do(CombineWall(PLAIN, "a-b", True))
    assert driver.groups()[0] == ["a", "b"]
