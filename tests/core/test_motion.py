"""Motion: one direction at a time, a rest before reversing, a longest run, and nothing by itself."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.core.commands import SERVICE, Act, LetGo, Recover, StopMotion
from roomlink.core.records import Motion
from roomlink.errors import BadValue, Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PHONE, PLAIN, Driver

SCREEN = {"kind": "motion", "travel": 10.0, "max_run": 13.0, "dead_time": 1.0}


def hall(**members: object) -> Driver:
    return Driver(venues.row(2, controls={**venues.section(), "screen": {**SCREEN, **members}}))


@pytest.fixture
def driver() -> Driver:
    return hall()


def screen(driver: Driver, zone: str = "a") -> Motion:
    record = driver.state.controls[zone, "screen"]
    assert isinstance(record, Motion)
    return record


def test_it_runs_while_held_and_stops_on_release(driver: Driver) -> None:
    """Hold to run is the default."""
    driver.act("a", "screen", "open")
    driver.advance(3.0)
    assert screen(driver).running == "open"
    driver.act("a", "screen", "stop")
    assert screen(driver).running is None


def test_over_http_it_needs_a_time(driver: Driver) -> None:
    """No finger can be seen there."""
    with pytest.raises(Refused, match="must carry `for`"):
        driver.act("a", "screen", "open", by=PLAIN)


def test_reversing_rests_for_the_dead_time(driver: Driver) -> None:
    """Close after open waits until open has rested for ``dead_time``."""
    driver.act("a", "screen", "open")
    driver.advance(2.0)
    driver.act("a", "screen", "close")
    assert (screen(driver).running, screen(driver).pending) == (None, "close")
    driver.advance(0.99)
    assert screen(driver).running is None
    driver.advance(0.01)
    assert screen(driver).running == "close"


def test_a_release_while_it_waits_forgets_what_waits(driver: Driver) -> None:
    """Nothing starts to move after the finger has gone."""
    driver.act("a", "screen", "open")
    driver.advance(2.0)
    driver.act("a", "screen", "close")
    driver.act("a", "screen", "stop")
    driver.advance(20.0)
    assert screen(driver).running is None


def test_the_same_direction_again_needs_no_rest(driver: Driver) -> None:
    """Only reversing does."""
    driver.act("a", "screen", "open")
    driver.advance(1.0)
    driver.act("a", "screen", "stop")
    driver.act("a", "screen", "open")
    assert screen(driver).running == "open"


def test_it_never_runs_longer_than_its_longest_run(driver: Driver) -> None:
    """Held or not, after ``max_run`` it stops and stays."""
    driver.act("a", "screen", "open")
    driver.advance(12.9)
    assert screen(driver).running == "open"
    driver.advance(30.0)
    assert screen(driver).running is None


def test_without_hold_to_run_a_touch_runs_it_to_its_limit() -> None:
    """``hold: false`` runs until stopped, and no longer than ``max_run``."""
    driver = hall(hold=False)
    driver.act("a", "screen", "open", by=PLAIN)
    driver.advance(5.0)
    assert screen(driver).running == "open"
    driver.act("a", "screen", "stop", by=PLAIN)
    assert screen(driver).running is None


def test_a_lost_holder_stops_it(driver: Driver) -> None:
    """Silence lets go."""
    driver.act("a", "screen", "open")
    driver.do(LetGo(SERVICE, "finger", driver.now, "silence"))
    assert screen(driver).running is None


def test_a_stop_by_anybody_stops_it(driver: Driver) -> None:
    """Also what another holds now: towards safe, everybody may."""
    driver.act("a", "screen", "open", by=FINGER)
    driver.advance(1.0)
    driver.act("a", "screen", "close", by=PHONE)
    driver.act("a", "screen", "stop", by=FINGER)
    driver.advance(1.5)
    assert screen(driver).running is None


def test_a_restart_stops_it_and_nothing_resumes(driver: Driver) -> None:
    """Neither what ran nor what waited goes on."""
    driver.act("a", "screen", "open")
    driver.do(Recover(SERVICE, driver.now))
    driver.advance(20.0)
    assert (screen(driver).running, screen(driver).pending) == (None, None)


def test_stopping_all_motion_is_never_refused(driver: Driver) -> None:
    """Every zone's motion stops."""
    driver.act("a", "screen", "open", by=FINGER)
    driver.act("b", "screen", "close", by=PHONE)
    driver.do(StopMotion(PLAIN, "everybody out"))
    assert screen(driver, "a").running is None
    assert screen(driver, "b").running is None


def test_combining_carries_no_motion_to_other_zones() -> None:
    """The lead's open key moves its own screen alone."""
    data = venues.row(2, controls={**venues.section(), "screen": SCREEN}, combining=venues.lead_by_order(["a", "b"]))
    driver = Driver(data)
    driver.wall("a-b", "open")
    driver.advance(3.0)
    driver.do(Act(FINGER, "screen", "open", controller="a-panel"))
    assert screen(driver, "a").running == "open"
    assert screen(driver, "b").running is None


def test_it_holds_no_value(driver: Driver) -> None:
    """Motion cannot be set."""
    with pytest.raises(BadValue, match="open, close, stop"):
        driver.act("a", "screen", "set", value=True)


STEPS = st.lists(st.tuples(st.sampled_from(["open", "close", "stop", "wait"]), st.floats(0.0, 3.0)), max_size=40)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_whatever_is_ordered_it_rests_before_reversing_and_runs_no_longer_than_it_may(
    steps: list[tuple[str, float]],
) -> None:
    """Never both directions, never less than the dead time, never past the longest run."""
    driver = hall(max_run=4.0)
    driver.checked = False
    runs: list[tuple[str, float, float]] = []
    seen = 0
    for do, pause in steps:
        if do != "wait":
            driver.act("a", "screen", do)
        driver.advance(pause)
    driver.act("a", "screen", "stop")
    start: tuple[str, float] | None = None
    for event in driver.events[seen:]:
        now = getattr(event, "now", None)
        if not isinstance(now, Motion):
            continue
        if start is not None and now.running is None:
            runs.append((start[0], start[1], now.stopped))
            start = None
        if now.running is not None and start is None:
            start = (now.running, now.since)
        assert start is None or now.running in (None, start[0])
    for direction, since, stopped in runs:
        assert stopped - since <= 4.0 + 1e-6, direction
    for (first, _, stopped), (second, since, _) in pairwise(runs):
        assert first == second or since - stopped >= 1.0 - 1e-6
