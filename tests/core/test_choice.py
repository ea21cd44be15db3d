"""A choice is an interlock: at most one option is on, and a change breaks before it makes."""

from __future__ import annotations

import pytest

from roomlink.core.events import ControlSet
from roomlink.core.records import Choice
from roomlink.errors import BadValue
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def gapped(gap: float = 0.3, **members: object) -> Driver:
    return Driver(venues.row(1, controls={"program": venues.choice(gap=gap, **members)}))


def program(driver: Driver) -> tuple[object, object]:
    control = driver.control("a", "program")
    return control["value"], control["pending"]


def test_a_choice_starts_with_nothing_on() -> None:
    """Absent ``start``, nothing is on."""
    assert program(gapped()) == (None, None)


def test_a_choice_starts_with_its_start_option() -> None:
    """``start`` is on from the beginning."""
    assert program(gapped(start="laptop")) == ("laptop", None)


def test_a_change_breaks_before_it_makes() -> None:
    """The old option goes off, the gap passes, the new one goes on."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    assert program(driver) == ("laptop", None)
    driver.set("a", "program", "camera")
    assert program(driver) == (None, "camera")
    driver.advance(0.29)
    assert program(driver) == (None, "camera")
    driver.advance(0.02)
    assert program(driver) == ("camera", None)


def test_the_first_option_needs_no_gap() -> None:
    """With nothing on there is nothing to break."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    assert program(driver) == ("laptop", None)


def test_a_new_request_in_the_gap_replaces_the_pending_one() -> None:
    """The gap is not started anew: it runs from the break."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.advance(0.2)
    driver.set("a", "program", "lectern")
    assert program(driver) == (None, "lectern")
    driver.advance(0.1)
    assert program(driver) == ("lectern", None)
    assert "camera" not in [
        e.now.value for e in driver.events if isinstance(e, ControlSet) and isinstance(e.now, Choice)
    ]


def test_going_back_in_the_gap_still_waits_for_it() -> None:
    """The option that was broken goes on again only after the gap."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.set("a", "program", "laptop")
    assert program(driver) == (None, "laptop")
    driver.advance(0.3)
    assert program(driver) == ("laptop", None)


def test_none_in_the_gap_leaves_nothing_pending() -> None:
    """Whoever turns the choice off in the gap turns it off for good."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    driver.set("a", "program", None)
    driver.advance(5.0)
    assert program(driver) == (None, None)


def test_an_option_soon_after_none_waits_for_the_rest_of_the_gap() -> None:
    """Off is a break too."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", None)
    driver.advance(0.1)
    driver.set("a", "program", "camera")
    assert program(driver) == (None, "camera")
    driver.advance(0.2)
    assert program(driver) == ("camera", None)


def test_an_option_long_after_none_is_on_at_once() -> None:
    """Once the gap has passed there is nothing to wait for."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", None)
    driver.advance(1.0)
    driver.set("a", "program", "camera")
    assert program(driver) == ("camera", None)


def test_a_gap_of_zero_finishes_inside_one_entry() -> None:
    """Nothing is pending, nothing is due."""
    driver = gapped(0.0)
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    assert program(driver) == ("camera", None)
    assert driver.state.deadlines.first() is None


def test_choosing_what_is_on_already_changes_nothing() -> None:
    """No break without a change."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    assert driver.set("a", "program", "laptop").events == ()


def test_choosing_what_is_pending_already_changes_nothing() -> None:
    """A second press in the gap does not prolong it."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "camera")
    assert driver.set("a", "program", "camera").events == ()


def test_the_word_none_turns_off() -> None:
    """``none`` is what a client may say for null."""
    driver = gapped()
    driver.set("a", "program", "laptop")
    driver.set("a", "program", "none")
    assert program(driver) == (None, None)


def test_without_allow_none_something_stays_on() -> None:
    """Nothing on is refused, and says what is allowed."""
    driver = gapped(allow_none=False, start="lectern", fallback="lectern")
    with pytest.raises(BadValue, match="lectern, laptop, camera") as caught:
        driver.set("a", "program", None)
    assert caught.value.members["allowed"] == ["lectern", "laptop", "camera"]
    assert program(driver) == ("lectern", None)


@pytest.mark.parametrize("value", ["turntable", 3, True, "", "b/laptop"])
def test_an_option_that_there_is_not_is_refused(value: object) -> None:
    """A bad value decides nothing."""
    driver = gapped()
    with pytest.raises(BadValue):
        driver.act("a", "program", "set", value=value)
    with pytest.raises(BadValue):
        driver.act("a-panel", "program", "set", value=value)
    assert program(driver) == (None, None)


def test_who_chose_is_in_the_view() -> None:
    """Through a controller it is the controller, on a zone the person."""
    driver = gapped()
    driver.set("a-panel", "program", "laptop")
    assert driver.control("a", "program")["by"] == "a-panel"
    driver.set("a", "program", "camera")
    assert driver.control("a", "program")["by"] == "alex"
