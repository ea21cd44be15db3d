"""Paging: the programme is lower while somebody speaks, at the outputs alone, and never for ever."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import paging
from roomlink.core.commands import ReportOverride, ReportPaging
from roomlink.core.events import ControlSet
from roomlink.errors import UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver

DESK = {"ducks": ["volume"], "by": 12.0, "most": 60.0, "zones": None, "control": None, "name": "Desk", "input": None}
KEY = {**DESK, "control": "a.talkback", "zones": ["b"], "by": 20.0}


def hall(**more: Any) -> Driver:
    return Driver(venues.row(2, paging={"desk": DESK, "key": KEY}, **more))


def page(driver: Driver, active: bool) -> None:
    driver.do(ReportPaging(PLAIN, "desk", active))


def test_while_somebody_pages_levels_are_lower_and_stay_what_they_are() -> None:
    """Nothing of the levels is touched, and they follow orders all the same."""
    driver = hall()
    page(driver, True)
    assert not any(isinstance(event, ControlSet) for event in driver.decisions[-1].events)
    assert [driver.control(zone, "volume")["ducked"] for zone in "ab"] == [12.0, 12.0]
    assert driver.shown("a-panel", "volume")["ducked"] == 12.0
    driver.set("a", "volume", -10.0)
    assert driver.value("a", "volume") == -10.0
    assert paging.lowered(driver.state, "a", "volume", -10.0) == -22.0
    assert paging.lowered(driver.state, "a", "volume", -55.0) == -60.0
    page(driver, False)
    assert "ducked" not in driver.control("a", "volume")
    assert paging.lowered(driver.state, "a", "volume", -10.0) == -10.0


def test_it_ends_by_itself() -> None:
    """A key that sticks keeps nothing down; said again it begins again."""
    driver = hall()
    page(driver, True)
    driver.advance(59.0)
    assert paging.ducked(driver.state, "a", "volume") == 12.0
    driver.advance(1.0)
    assert paging.ducked(driver.state, "a", "volume") == 0.0
    page(driver, True)
    assert paging.ducked(driver.state, "a", "volume") == 12.0


def test_a_momentary_pages_while_it_is_held() -> None:
    """Into its own zones; of two that page the one that lowers more counts."""
    driver = hall()
    driver.act("a", "talkback", "press", by=FINGER)
    assert [paging.ducked(driver.state, zone, "volume") for zone in "ab"] == [0.0, 20.0]
    page(driver, True)
    assert [paging.ducked(driver.state, zone, "volume") for zone in "ab"] == [12.0, 20.0]
    driver.act("a", "talkback", "release", by=FINGER)
    assert [paging.ducked(driver.state, zone, "volume") for zone in "ab"] == [12.0, 12.0]


def test_life_safety_stands_above_it() -> None:
    """What is masked is what the override says, not lower; a key that is held is let go, and its paging ends."""
    fire = {"kind": "life-safety", "zones": None, "values": {"volume": -40.0}, "blend": 0.0, "name": "Fire"}
    driver = hall(overrides={"fire": fire})
    driver.act("a", "talkback", "press", by=FINGER)
    page(driver, True)
    driver.do(ReportOverride(PLAIN, "fire", True))
    assert driver.value("a", "volume") == -40.0
    assert list(driver.state.pagings.live()) == ["desk"]


def test_what_is_no_longer_configured_is_over() -> None:
    """And unknown to those who ask for it."""
    driver = hall()
    page(driver, True)
    driver.configure(venues.row(2))
    assert len(driver.state.pagings) == 0
    with pytest.raises(UnknownName):
        page(driver, True)
