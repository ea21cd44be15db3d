"""A switch is on or off, with minimum times where a lamp or motor needs them."""

from __future__ import annotations

import pytest

from roomlink.core.decide import next_deadline
from roomlink.errors import BadValue
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def lamp(**members: object) -> Driver:
    return Driver(venues.row(1, controls={"lamp": venues.switch(**members)}))


def state(driver: Driver) -> tuple[object, object]:
    control = driver.control("a", "lamp")
    return control["value"], control["pending"]


def test_a_switch_turns_on_and_off_at_once() -> None:
    """Without minimum times there is nothing to wait for."""
    driver = lamp()
    driver.set("a", "lamp", True)
    assert state(driver) == (True, None)
    driver.set("a", "lamp", False)
    assert state(driver) == (False, None)
    assert next_deadline(driver.state) is None


@pytest.mark.parametrize(("said", "meant"), [(True, True), (False, False), ("on", True), ("off", False)])
def test_on_and_off_are_taken_as_words_too(said: object, meant: bool) -> None:
    """YAML 1.2 reads ``on`` as a word."""
    driver = lamp(start=not meant)
    driver.act("a", "lamp", "set", value=said)
    assert state(driver) == (meant, None)


@pytest.mark.parametrize("value", [1, 0, None, "yes", 1.0])
def test_anything_else_is_refused(value: object) -> None:
    """A number is not a switch position."""
    with pytest.raises(BadValue, match="true or false"):
        lamp().act("a", "lamp", "set", value=value)


def test_off_waits_for_the_minimum_time_on() -> None:
    """It happens by itself as soon as it may."""
    driver = lamp(min_on=10.0)
    driver.set("a", "lamp", True)
    driver.advance(4.0)
    driver.set("a", "lamp", False)
    assert state(driver) == (True, False)
    driver.advance(5.9)
    assert state(driver) == (True, False)
    driver.advance(0.1)
    assert state(driver) == (False, None)


def test_on_waits_for_the_minimum_time_off() -> None:
    """A discharge lamp must cool before it strikes again."""
    driver = lamp(min_off=60.0)
    driver.set("a", "lamp", True)
    driver.set("a", "lamp", False)
    driver.set("a", "lamp", True)
    assert state(driver) == (False, True)
    driver.advance(60.0)
    assert state(driver) == (True, None)


def test_a_newer_order_ends_the_waiting() -> None:
    """Off and on again within the minimum time leaves the lamp on."""
    driver = lamp(min_on=10.0)
    driver.set("a", "lamp", True)
    driver.set("a", "lamp", False)
    driver.set("a", "lamp", True)
    assert state(driver) == (True, None)
    driver.advance(60.0)
    assert state(driver) == (True, None)


def test_a_switch_that_waits_votes_with_what_it_is() -> None:
    """A lamp that still burns is shown as burning, with what it waits for beside it."""
    driver = lamp(min_on=10.0)
    driver.set("a", "lamp", True)
    driver.set("a", "lamp", False)
    shown = driver.shown("a-panel", "lamp")
    assert (shown["value"], shown["pending"]) == (True, False)
