"""What lamps of stations show: on, off and mixed, by the feedback of their controller."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import lamps
from roomlink.testing import venues
from roomlink.testing.driver import Driver


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(2, panel={"feedback": "majority"}))


def lamp(control: str, shows: str = "is", is_: Any = None, mixed: Any = "mixed") -> dict[str, Any]:
    return {"control": control, "shows": shows, "is": is_, "on": "on", "off": "off", "mixed": mixed}


def shown(driver: Driver, what: dict[str, Any], after: float = 0.0) -> Any:
    return lamps.shown(driver.state, "a-panel", what, driver.now + after)


def test_a_lamp_is_lit_where_all_linked_zones_have_what_it_stands_for(driver: Driver) -> None:
    """Dark where none has; mixed where some have, and others not."""
    laptop, camera = lamp("program", is_="laptop"), lamp("program", is_="camera")
    assert (shown(driver, laptop), shown(driver, camera)) == ("off", "off")
    driver.set("a-panel", "program", "laptop")
    assert (shown(driver, laptop), shown(driver, camera)) == ("on", "off")
    driver.link("a-panel", "b")
    assert (shown(driver, laptop), shown(driver, camera)) == ("mixed", "off")
    driver.set("b-panel", "program", "laptop")
    assert shown(driver, laptop) == "on"


def test_without_a_word_for_mixed_the_policy_decides(driver: Driver) -> None:
    """Where it yields nothing the lamp is dark."""
    driver.link("a-panel", "b")
    driver.set("a", "mute", True)
    assert shown(driver, lamp("mute", is_=True, mixed=None)) == "off"
    driver.set("b", "mute", True)
    assert shown(driver, lamp("mute", is_=True, mixed=None)) == "on"


def test_a_level_lights_a_lamp_from_its_value_on(driver: Driver) -> None:
    """Also on its way: the lamp is asked anew until the level rests."""
    loud = lamp("volume", "at-least", -20.0)
    driver.set("a-panel", "volume", -10.0, over=2.0)
    assert (shown(driver, loud), shown(driver, loud, 1.0), shown(driver, loud, 2.0)) == ("off", "on", "on")
    assert lamps.steady_from(driver.state, "a-panel", "volume", driver.now) == driver.now + 2.0
    assert lamps.steady_from(driver.state, "a-panel", "mute", driver.now) == driver.now


def test_a_small_display_shows_the_value_itself(driver: Driver) -> None:
    """Nothing on, and nothing decided, is none; with a word for it disagreement is said."""
    driver.set("a-panel", "program", "laptop")
    assert shown(driver, lamp("program", "value")) == "laptop"
    assert shown(driver, lamp("volume", "value")) == -30.0
    driver.link("a-panel", "b")
    assert shown(driver, lamp("program", "value")) == "mixed"
    assert shown(driver, lamp("program", "value", mixed=None)) == "none"
    driver.unlink("a-panel")
    assert shown(driver, lamp("program", "value")) == "none"


def test_a_lamp_of_nothing_is_dark(driver: Driver) -> None:
    """Without a link, or of a control that is gone."""
    driver.unlink("a-panel")
    assert shown(driver, lamp("mute", is_=False)) == "off"
    assert shown(driver, lamp("bass", is_=True)) == "off"
