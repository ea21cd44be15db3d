"""Named arrangements: one touch states all their walls in one entry, and moves none."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import arrangements, wall_view
from roomlink.core.commands import StateArrangement
from roomlink.core.events import Regrouped
from roomlink.errors import BadValue, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver

NAMED: dict[str, Any] = {
    "banquet": {"name": "Banquet", "walls": {"a-b": "open", "b-c": "open"}, "pin": 3600.0},
    "rooms": {"name": "Rooms", "walls": {"a-b": "closed", "b-c": "closed"}, "pin": 3600.0},
    "half": {"name": "", "walls": {"a-b": "open"}, "pin": 60.0},
}


def make(**wall: Any) -> Driver:
    rules = venues.lead_by_order("abc")
    return Driver(venues.row(3, combining=rules, arrangements=NAMED, wall=wall))


def state(driver: Driver, name: str, pin: float | None = None) -> Any:
    return driver.do(StateArrangement(PLAIN, name, pin))


def test_one_touch_pins_all_walls_and_combines_in_one_entry_with_one_regrouping() -> None:
    """As configured; the others stay as they are."""
    driver = make(settle=2.0)
    decision = state(driver, "banquet")
    assert sum(isinstance(event, Regrouped) for event in decision.events) == 1
    assert driver.groups() == [["a", "b", "c"]]
    assert {wall.pinned_until for wall in driver.state.walls.values()} == {driver.now + 3600.0}
    assert decision.reply == {"zones": ["a", "b", "c"], "mismatched": []}
    state(driver, "half", 30.0)
    assert driver.state.walls["a-b"].pinned_until == driver.now + 30.0
    assert driver.state.walls["b-c"].pinned_until == driver.now + 3600.0


def test_where_a_sensor_says_otherwise_the_pin_holds_and_the_wall_is_named() -> None:
    """Somebody has to go and look."""
    driver = make()
    driver.wall("a-b", "closed")
    assert state(driver, "banquet").reply["mismatched"] == ["a-b"]
    seen = wall_view.partitions(driver.state)
    assert (seen["a-b"]["position"], seen["a-b"]["sensed"], seen["a-b"]["mismatched"]) == ("open", "closed", True)
    assert not seen["b-c"]["mismatched"]
    told = wall_view.arrangements(driver.state)["banquet"]
    assert (told["stands"], told["mismatched"]) == (True, ["a-b"])
    driver.wall("a-b", "open")
    assert not arrangements.mismatched(driver.state.walls["a-b"])


def test_a_pin_of_0_takes_back_what_the_arrangement_stated_and_nothing_else() -> None:
    """A wall that somebody stated otherwise since keeps that."""
    driver = make()
    for wall in ("a-b", "b-c"):
        driver.wall(wall, "closed")
    state(driver, "banquet")
    driver.wall("b-c", "closed", pin=600.0)
    state(driver, "banquet", 0.0)
    assert driver.state.walls["a-b"].pinned_until is None
    assert driver.state.walls["b-c"].pinned_until == driver.now + 600.0
    assert driver.groups() == [["a"], ["b"], ["c"]]


def test_when_the_time_is_over_the_sensors_count_again() -> None:
    """All at one deadline."""
    driver = make()
    driver.wall("a-b", "closed")
    state(driver, "banquet")
    driver.advance(3600.0)
    assert not driver.state.walls["a-b"].joins


def test_it_states_positions_and_a_wall_that_asks_still_asks() -> None:
    """What combines is the wall's own rule."""
    driver = make(combine="ask")
    state(driver, "banquet")
    assert driver.groups() == [["a"], ["b"], ["c"]]
    assert {name: kept.why for name, kept in driver.state.divisions.items()} == {"a-b": "ask", "b-c": "ask"}


def test_unknown_arrangements_and_impossible_times_are_refused() -> None:
    """With what would be right."""
    driver = make()
    with pytest.raises(UnknownName):
        state(driver, "circus")
    with pytest.raises(BadValue):
        state(driver, "banquet", -1.0)
