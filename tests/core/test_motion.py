"""Motion: one direction at a time, a rest before reversing, never for too long, never by itself."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.core.commands import SERVICE, LetGo, StopMotion
from roomlink.core.decide import next_deadline
from roomlink.core.events import HoldEnded
from roomlink.core.records import Motion
from roomlink.errors import BadValue, Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PHONE, PLAIN, Driver


def make(count: int = 1, **members: Any) -> Driver:
    return Driver(
        venues.row(count, controls={"screen": venues.motion(**members)}, combining=venues.lead_by_order("ab"))
    )


def running(driver: Driver, zone: str = "a") -> tuple[Any, Any]:
    record: Any = driver.state.controls[zone, "screen"]
    return record.running, record.pending


def test_a_motion_runs_while_held_and_stops_on_release() -> None:
    """Hold to run is the default."""
    driver = make()
    driver.act("a", "screen", "open")
    assert running(driver) == ("open", None)
    driver.advance(5.0)
    driver.act("a", "screen", "stop")
    assert running(driver) == (None, None)


def test_a_motion_stops_when_its_holder_falls_silent_or_is_unlinked() -> None:
    """Nobody sees the screen any more."""
    driver = make()
    driver.act("a-panel", "screen", "open")
    driver.do(LetGo(SERVICE, "finger", driver.now, "no sign of life"))
    assert running(driver) == (None, None)
    driver.act("a-panel", "screen", "open")
    driver.unlink("a-panel")
    assert running(driver) == (None, None)


def test_a_plain_client_must_say_for_how_long() -> None:
    """And then it stops by itself."""
    driver = make()
    with pytest.raises(Refused, match="for"):
        driver.act("a", "screen", "open", by=PLAIN)
    driver.act("a", "screen", "open", by=PLAIN, for_s=4.0)
    driver.advance(4.0)
    assert running(driver) == (None, None)
    assert next_deadline(driver.state) is None


def test_reversing_waits_for_the_dead_time() -> None:
    """It stops at once, rests, then runs the other way while still held."""
    driver = make()
    driver.act("a", "screen", "open")
    driver.advance(3.0)
    driver.act("a", "screen", "close")
    assert running(driver) == (None, "close")
    driver.advance(0.9)
    assert running(driver) == (None, "close")
    driver.advance(0.1)
    assert running(driver) == ("close", None)


def test_a_release_in_the_dead_time_starts_nothing() -> None:
    """What waits is forgotten."""
    driver = make()
    driver.act("a", "screen", "open")
    driver.act("a", "screen", "close")
    driver.act("a", "screen", "stop")
    driver.advance(60.0)
    assert running(driver) == (None, None)


def test_the_dead_time_counts_from_the_stop() -> None:
    """After a long rest reversing is immediate; the same direction never waits."""
    driver = make()
    driver.act("a", "screen", "open")
    driver.act("a", "screen", "stop")
    driver.act("a", "screen", "open")
    assert running(driver) == ("open", None)
    driver.act("a", "screen", "stop")
    driver.advance(1.0)
    driver.act("a", "screen", "close")
    assert running(driver) == ("close", None)


def test_a_motion_never_runs_longer_than_its_longest_run() -> None:
    """Held or not; and it does not start again by itself."""
    for hold in (True, False):
        driver = make(hold=hold)
        driver.act("a", "screen", "open")
        driver.advance(25.9)
        assert running(driver) == ("open", None)
        driver.advance(0.1)
        assert running(driver) == (None, None)
        driver.advance(600.0)
        assert running(driver) == (None, None)


def test_a_motion_that_need_not_be_held_runs_on_by_itself_until_stopped() -> None:
    """Where the configuration says so."""
    driver = make(hold=False)
    driver.act("a-panel", "screen", "open", by=PLAIN)
    driver.advance(10.0)
    assert running(driver) == ("open", None)
    driver.act("a", "screen", "stop", by=PLAIN)
    assert running(driver) == (None, None)


def test_of_two_holders_the_newer_moves_it() -> None:
    """The older one's release does nothing."""
    driver = make()
    driver.act("a", "screen", "open", by=FINGER)
    driver.advance(1.0)
    driver.act("a", "screen", "close", by=PHONE)
    driver.advance(1.0)
    driver.act("a", "screen", "stop", by=FINGER)
    assert running(driver) in (("close", None), (None, None))
    driver.act("a", "screen", "stop", by=PHONE)
    assert running(driver) == (None, None)


def test_a_restart_resumes_no_motion() -> None:
    """Nor one that waited."""
    driver = make(hold=False)
    driver.act("a", "screen", "open")
    driver.restart(2.0)
    driver.advance(60.0)
    assert running(driver) == (None, None)


def test_combining_carries_no_motion_to_another_zone() -> None:
    """The lead moves its own screen alone, unless a hand linked the other zone."""
    driver = make(2)
    driver.wall("a-b", "open")
    assert driver.act("a-panel", "screen", "open").reply["zones"] == ["a"]
    assert (running(driver, "a"), running(driver, "b")) == (("open", None), (None, None))


def test_stop_motion_stops_everything() -> None:
    """As the service stops."""
    driver = make(2, hold=False)
    driver.act("a", "screen", "open")
    driver.act("b", "screen", "close")
    driver.do(StopMotion(SERVICE, "the service stops"))
    assert (running(driver, "a"), running(driver, "b")) == ((None, None), (None, None))


def test_a_motion_cannot_be_set() -> None:
    """It has no value to go to."""
    with pytest.raises(BadValue, match="open, close, stop"):
        make().set("a", "screen", "open")


def test_pressing_again_does_not_lengthen_the_longest_run() -> None:
    """A stop shorter than the dead time does not begin a new run."""
    driver = make(travel=10.0, max_run=13.0, dead_time=1.0)
    driver.act("a", "screen", "open")
    driver.advance(10.0)
    driver.act("a", "screen", "stop")
    driver.advance(0.5)
    driver.act("a", "screen", "open")
    driver.advance(2.5)
    assert running(driver) == (None, None)


def test_after_its_longest_run_a_motion_rests_before_it_runs_again() -> None:
    """Pressed at once it waits for the dead time, then runs anew."""
    driver = make(travel=10.0, max_run=13.0, dead_time=1.0)
    driver.act("a", "screen", "open")
    driver.advance(13.0)
    driver.act("a", "screen", "open")
    assert running(driver) == (None, "open")
    driver.advance(1.0)
    assert running(driver) == ("open", None)


STEPS = st.lists(st.tuples(st.sampled_from(["open", "close", "stop", "wait"]), st.floats(0.0, 3.0)), max_size=40)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_whatever_is_ordered_it_rests_before_reversing_and_runs_no_longer_than_it_may(
    steps: list[tuple[str, float]],
) -> None:
    """Never both directions, never less than the dead time, never past the longest run."""
    driver = make(travel=4.0, max_run=4.0, dead_time=1.0)
    driver.checked = False
    runs: list[tuple[str, float, float]] = []
    for do, pause in steps:
        if do != "wait":
            driver.act("a", "screen", do)
        driver.advance(pause)
    driver.act("a", "screen", "stop")
    start: tuple[str, float] | None = None
    for event in driver.events:
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


def hall() -> Driver:
    """Two zones whose panels lock each other out; screens that run without being held."""
    controls = {**venues.section(), "screen": venues.motion(hold=False)}
    return Driver(venues.row(2, controls=controls, combining=venues.lead_by_order("ab", others="lock")))


def test_the_longest_run_lets_go_of_what_is_held() -> None:
    """With the reason, so that the panel hears that it holds nothing any more."""
    driver = make()
    driver.act("a", "screen", "open")
    driver.advance(26.0)
    assert running(driver) == (None, None)
    assert not list(driver.state.holds.live())
    (ended,) = [event for event in driver.events if isinstance(event, HoldEnded)]
    assert (ended.zones, ended.why) == (("a",), "its longest run was over")


def runs(driver: Driver, zone: str, control: str = "screen") -> object:
    record = driver.state.controls[zone, control]
    assert isinstance(record, Motion)
    return record.running


def test_a_locked_panel_stops_what_runs_whoever_set_it_running() -> None:
    """Nothing stands in the way towards safe."""
    driver = hall()
    driver.act("b-panel", "screen", "open")
    driver.wall("a-b", "open")
    assert driver.act("b-panel", "screen", "stop").reply == {"zones": ["b"]}
    assert runs(driver, "b") is None
    driver.act("a-panel", "screen", "open")
    driver.act("b-panel", "screen", "stop")
    assert (runs(driver, "a"), runs(driver, "b")) == ("open", None)


def test_a_panel_stops_what_it_set_running_where_it_is_no_longer_linked() -> None:
    """Also if it is linked to nothing any more, and if no linked zone has such a control."""
    driver = Driver(venues.venue("ab", zone_controls={"b": {"screen": venues.motion(hold=False)}}))
    driver.link("a-panel", "b")
    driver.act("a-panel", "screen", "open")
    driver.unlink("a-panel")
    assert driver.act("a-panel", "screen", "stop").reply == {"zones": ["b"]}
    assert runs(driver, "b") is None


def test_to_stop_or_release_is_never_refused_for_want_of_a_link_or_a_lock() -> None:
    """It may reach nothing; and a locked panel does not stop a level that the lead moves."""
    driver = hall()
    driver.unlink("a-panel")
    for control, do in (("screen", "stop"), ("volume", "stop"), ("talkback", "release")):
        assert driver.act("a-panel", control, do).reply == {"zones": []}
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -10.0, over=10.0)
    for control, do in (("screen", "stop"), ("volume", "stop"), ("talkback", "release")):
        driver.act("b-panel", control, do)
    driver.advance(10.0)
    assert driver.value("b", "volume") == -10.0
