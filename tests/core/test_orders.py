"""Levels: a ramp is a trajectory that can be retargeted, stopped and followed without a tick."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.decide import next_deadline
from roomlink.core.events import ControlSet
from roomlink.core.records import Level
from roomlink.errors import BadValue
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(1))


def test_a_level_starts_at_its_start(driver: Driver) -> None:
    """``start`` counts from the first configuration on."""
    assert driver.value("a", "volume") == -30.0


def test_a_set_without_over_is_there_at_once(driver: Driver) -> None:
    """``over`` 0 finishes inside one entry: nothing is due."""
    driver.set("a", "volume", -12.5)
    assert driver.value("a", "volume") == -12.5
    assert driver.control("a", "volume")["moving"] is None
    assert next_deadline(driver.state) is None


def test_a_set_with_over_moves_at_a_constant_rate(driver: Driver) -> None:
    """Half-way in time is half-way in value."""
    driver.set("a", "volume", -10.0, over=2.0)
    driver.advance(1.0)
    assert driver.value("a", "volume") == -20.0
    driver.advance(0.5)
    assert driver.value("a", "volume") == -15.0


def test_a_ramp_ends_exactly_on_its_target(driver: Driver) -> None:
    """No rounding is left over, whatever the numbers."""
    driver.set("a", "volume", -0.1, over=0.7)
    driver.advance(0.7)
    record = driver.state.controls["a", "volume"]
    assert record.at(driver.now) == -0.1
    assert record.seconds == 0.0


@given(st.floats(0.0, 2e9), st.floats(1e-3, 3600.0))
def test_at_its_arrival_a_level_is_exactly_where_it_goes(start: float, seconds: float) -> None:
    """At the very stamp of the deadline, whatever the binary rounding."""
    level = Level(-30.0, -10.0, start, seconds)
    assert level.arrival is not None
    assert level.at(level.arrival) == -10.0
    assert level.at(start) in (-30.0, -10.0)


def test_a_ramp_is_two_changes_and_no_ticks(driver: Driver) -> None:
    """One at the start and one at arrival, which is one journalled deadline."""
    driver.set("a", "volume", -10.0, over=60.0)
    before = len(driver.decisions)
    assert next_deadline(driver.state) == driver.now + 60.0
    driver.advance(3600.0)
    assert len(driver.decisions) == before + 1
    assert next_deadline(driver.state) is None


def test_a_new_order_starts_from_where_the_level_is(driver: Driver) -> None:
    """A retargeted ramp does not jump."""
    driver.set("a", "volume", -10.0, over=2.0)
    driver.advance(1.0)
    driver.set("a", "volume", -40.0, over=2.0)
    assert driver.value("a", "volume") == -20.0
    driver.advance(1.0)
    assert driver.value("a", "volume") == -30.0
    driver.advance(1.0)
    assert driver.value("a", "volume") == -40.0


def test_raise_runs_at_the_range_over_the_travel_until_released(driver: Driver) -> None:
    """60 dB in 6 s: after 1.5 s held the level is 15 dB up, and it stops at once."""
    driver.act("a", "volume", "raise")
    driver.advance(1.5)
    driver.act("a", "volume", "stop")
    driver.advance(5.0)
    assert driver.value("a", "volume") == -15.0


def test_lower_stops_at_the_low_end(driver: Driver) -> None:
    """Held on, the level waits at the end of its range."""
    driver.act("a", "volume", "lower")
    driver.advance(3.0)
    assert driver.value("a", "volume") == -60.0
    driver.advance(3.0)
    driver.act("a", "volume", "stop")
    assert driver.value("a", "volume") == -60.0


def test_raise_over_http_lasts_for_the_time_given(driver: Driver) -> None:
    """``for`` ends it, exactly."""
    driver.act("a", "volume", "raise", by=PLAIN, for_s=0.75)
    driver.advance(10.0)
    assert driver.value("a", "volume") == -22.5


def test_raise_at_the_top_changes_no_level(driver: Driver) -> None:
    """There is nowhere to go."""
    driver.set("a", "volume", 0.0)
    decision = driver.act("a", "volume", "raise")
    assert not [e for e in decision.events if isinstance(e, ControlSet)]


def test_stop_ends_a_ramp_that_nobody_holds(driver: Driver) -> None:
    """A long fade can be stopped where it is."""
    driver.set("a", "volume", -10.0, over=2.0)
    driver.advance(0.5)
    driver.act("a-panel", "volume", "stop")
    driver.advance(5.0)
    assert driver.value("a", "volume") == -25.0


def test_stop_at_rest_changes_nothing(driver: Driver) -> None:
    """A stop too many is no fault."""
    assert driver.act("a", "volume", "stop").events == ()


def test_an_order_passes_no_ceiling() -> None:
    """A zone's highest level clamps sets and raises alike."""
    driver = Driver(venues.row(1, controls={"volume": venues.level(ceiling=-6.0)}))
    driver.set("a", "volume", 0.0)
    assert driver.value("a", "volume") == -6.0
    driver.set("a", "volume", -16.0)
    driver.act("a", "volume", "raise")
    driver.advance(10.0)
    assert driver.value("a", "volume") == -6.0


def test_an_order_above_a_ceiling_says_where_it_was_clamped() -> None:
    """Over a zone and over a controller, by set and by align; an order below says nothing."""
    controls = {"b": {"volume": venues.level(ceiling=-6.0)}}
    driver = Driver(venues.venue("ab", controls={"volume": venues.level()}, zone_controls=controls))
    driver.link("a-panel", "b")
    assert driver.set("b", "volume", 0.0).reply == {"zones": ["b"], "clamped": {"b": -6.0}}
    assert driver.set("a-panel", "volume", -3.0).reply["clamped"] == {"b": -6.0}
    assert driver.align("a-panel", "volume", -1.0).reply["clamped"] == {"b": -6.0}
    assert "clamped" not in driver.set("a-panel", "volume", -6.0).reply


def test_a_shift_beyond_a_ceiling_says_where_it_was_clamped() -> None:
    """Under ``level_mode: offset`` it is the zone's own value that counts."""
    controls = {"volume": venues.level(ceiling=-6.0)}
    driver = Driver(venues.row(2, controls=controls, panel={"level_mode": "offset", "feedback": "last-linked"}))
    driver.set("a", "volume", -20.0)
    driver.link("a-panel", "b")
    driver.set("b", "volume", -40.0)
    assert driver.set("a-panel", "volume", -20.0).reply == {"zones": ["a", "b"], "clamped": {"a": -6.0}}


@pytest.mark.parametrize("value", [0.1, -60.1, float("nan"), float("inf"), 10**400, True, "loud", None])
def test_a_value_outside_the_range_is_refused(driver: Driver, value: object) -> None:
    """The problem gives the range in the level's unit."""
    for surface in ("a", "a-panel"):
        with pytest.raises(BadValue, match="-60 to 0 dB") as caught:
            driver.act(surface, "volume", "set", value=value)
        assert (caught.value.members["minimum"], caught.value.members["maximum"]) == (-60.0, 0.0)
    assert driver.value("a", "volume") == -30.0


@pytest.mark.parametrize("over", [-1.0, 3601.0, float("nan"), True, "2"])
def test_a_time_that_is_none_is_refused(driver: Driver, over: object) -> None:
    """``over`` is a number of seconds from 0 to an hour."""
    with pytest.raises(BadValue, match="over"):
        driver.act("a", "volume", "set", value=-10.0, over=over)


def test_the_move_is_in_the_view(driver: Driver) -> None:
    """From, to, start, seconds and curve: enough to draw it at any rate."""
    driver.set("a", "volume", -10.0, over=2.0)
    driver.advance(1.0)
    moving = driver.control("a", "volume")["moving"]
    assert moving == {
        "from": -30.0,
        "to": -10.0,
        "start": "1970-01-01T00:16:40.000Z",
        "seconds": 2.0,
        "curve": "linear",
    }


def test_of_two_that_set_a_level_the_later_wins(driver: Driver) -> None:
    """And the view says who it was."""
    driver.link("a-panel", "a")
    driver.set("a-panel", "volume", -20.0)
    driver.set("a", "volume", -25.0)
    assert driver.value("a", "volume") == -25.0
    assert driver.control("a", "volume")["by"] == "alex"
