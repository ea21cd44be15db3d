"""Motion: one direction at a time, a rest before reversing, never for too long, never by itself."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.commands import SERVICE, LetGo, StopMotion
from roomlink.core.decide import next_deadline
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
