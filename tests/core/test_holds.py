"""Whatever is held is let go: on release, on silence, on unlinking, when its time is over, by a newer order."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomlink.core.commands import SERVICE, Act, Actor, LetGo
from roomlink.core.events import HoldEnded
from roomlink.errors import BadValue, Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PHONE, PLAIN, Driver


@pytest.fixture
def driver() -> Driver:
    return Driver(venues.row(3))


def reasons(driver: Driver) -> list[str]:
    return [e.why for e in driver.events if isinstance(e, HoldEnded)]


def test_a_momentary_is_on_only_while_held(driver: Driver) -> None:
    """Press is on, release is off."""
    driver.act("a", "talkback", "press")
    assert driver.value("a", "talkback") is True
    driver.act("a", "talkback", "release")
    assert driver.value("a", "talkback") is False


def test_a_momentary_is_on_while_any_of_two_holders_holds(driver: Driver) -> None:
    """The first to release does not cut the second off."""
    driver.act("a", "talkback", "press", by=FINGER)
    driver.act("a", "talkback", "press", by=PHONE)
    driver.act("a", "talkback", "release", by=FINGER)
    assert driver.value("a", "talkback") is True
    driver.act("a", "talkback", "release", by=PHONE)
    assert driver.value("a", "talkback") is False


def test_a_release_of_what_is_not_held_is_no_fault(driver: Driver) -> None:
    """Releasing twice changes nothing."""
    assert driver.act("a", "talkback", "release").events == ()
    assert driver.act("a-panel", "talkback", "release").reply["zones"] == []


def test_on_a_level_the_newer_order_ends_the_older_hold_with_the_reason(driver: Driver) -> None:
    """The older holder's release does nothing any more."""
    driver.act("a", "volume", "raise", by=FINGER)
    driver.advance(1.0)
    driver.act("a", "volume", "lower", by=PHONE)
    assert reasons(driver) == ["a newer order from kim"]
    driver.advance(0.5)
    driver.act("a", "volume", "stop", by=FINGER)
    assert driver.state.holds == {}
    assert driver.value("a", "volume") == -25.0


def test_a_set_ends_a_hold(driver: Driver) -> None:
    """A set is an order like any other."""
    driver.act("a", "volume", "raise")
    driver.advance(1.0)
    driver.set("a", "volume", -50.0, by=PLAIN)
    driver.advance(1.0)
    assert driver.value("a", "volume") == -50.0
    assert reasons(driver) == ["a newer order from program"]


def test_a_newer_order_on_one_zone_leaves_the_hold_on_the_others(driver: Driver) -> None:
    """The holder goes on raising the zones that nobody took over."""
    driver.link("a-panel", "b")
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.0)
    driver.set("b", "volume", -50.0, by=PLAIN)
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "ab") == [-10.0, -50.0]


def test_a_hold_never_spreads_to_zones_linked_later(driver: Driver) -> None:
    """Linking while a finger is down does not move the new zone."""
    driver.act("a-panel", "volume", "raise")
    driver.act("a-panel", "talkback", "press")
    driver.link("a-panel", "b")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-20.0, -30.0]
    assert driver.values("talkback", "ab") == [True, False]


def test_unlinking_lets_go_in_that_zone_alone(driver: Driver) -> None:
    """The level stops there, and the momentary goes off."""
    driver.link("a-panel", "b")
    driver.act("a-panel", "volume", "raise")
    driver.act("a-panel", "talkback", "press")
    driver.advance(1.0)
    driver.unlink("a-panel", "b")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-10.0, -20.0]
    assert driver.values("talkback", "ab") == [True, False]


def test_a_plain_client_must_say_for_how_long(driver: Driver) -> None:
    """It cannot show that a finger left."""
    for control, do in (("talkback", "press"), ("volume", "raise"), ("volume", "lower")):
        for surface in ("a", "a-panel"):
            with pytest.raises(Refused, match="for") as caught:
                driver.act(surface, control, do, by=PLAIN)
            assert caught.value.kind == "needs-for"


def test_what_a_plain_client_holds_ends_when_its_time_is_over(driver: Driver) -> None:
    """Exactly, and even if nobody looks."""
    driver.act("a", "talkback", "press", by=PLAIN, for_s=2.0)
    driver.advance(1.999)
    assert driver.value("a", "talkback") is True
    driver.advance(0.001)
    assert driver.value("a", "talkback") is False
    assert reasons(driver) == ["its time was over"]


def test_a_late_wake_still_ends_a_hold_at_its_time(driver: Driver) -> None:
    """A service that slept stops the level where it was when the time was over."""
    driver.act("a", "volume", "raise", by=PLAIN, for_s=1.0)
    driver.now += 2.0
    driver.wake()
    assert driver.value("a", "volume") == -20.0


@pytest.mark.parametrize("for_s", [10.1, -1.0, float("nan"), True])
def test_nothing_is_held_for_longer_than_ten_seconds_over_http(driver: Driver, for_s: object) -> None:
    """Ten seconds at most."""
    with pytest.raises(BadValue, match="for"):
        driver.act("a", "talkback", "press", by=PLAIN, for_s=for_s)


def test_silence_lets_go_of_all_that_a_holder_holds(driver: Driver) -> None:
    """As of the last sign of life and the silence: not as of when somebody noticed."""
    driver.link("a-panel", "b")
    driver.act("a-panel", "volume", "raise", by=FINGER)
    driver.act("a-panel", "talkback", "press", by=FINGER)
    driver.act("c", "talkback", "press", by=PHONE)
    driver.advance(2.0)
    decision = driver.do(LetGo(SERVICE, "finger", driver.now - 1.0, "no sign of life"))
    assert sorted(decision.reply["zones"]) == ["a", "b"]
    assert driver.values("volume", "ab") == [-20.0, -20.0]
    assert driver.values("talkback", "abc") == [False, False, True]
    assert set(reasons(driver)) == {"no sign of life"}


def test_letting_go_of_nothing_is_no_entry(driver: Driver) -> None:
    """A socket that closes while nothing is held leaves no trace."""
    assert driver.do(LetGo(SERVICE, "finger", driver.now, "closed")).events == ()


def test_pressing_again_while_pressed_is_one_hold(driver: Driver) -> None:
    """A repeated press needs one release."""
    driver.act("a", "talkback", "press")
    driver.act("a", "talkback", "press")
    driver.act("a", "talkback", "release")
    assert driver.value("a", "talkback") is False
    assert driver.state.held == {}


def test_a_holder_that_turns_round_moves_from_where_the_level_is(driver: Driver) -> None:
    """Raise then lower without a release between them."""
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.0)
    driver.act("a-panel", "volume", "lower")
    driver.advance(2.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.value("a", "volume") == -40.0


def test_a_finger_on_a_zone_and_one_on_a_panel_are_two_holds(driver: Driver) -> None:
    """The same socket may hold the same control through both."""
    driver.act("a", "talkback", "press")
    driver.act("a-panel", "talkback", "press")
    driver.act("a", "talkback", "release")
    assert driver.value("a", "talkback") is True
    driver.act("a-panel", "talkback", "release")
    assert driver.value("a", "talkback") is False


def test_through_a_controller_release_names_the_zones_let_go(driver: Driver) -> None:
    """The reply says where it ended."""
    driver.link("a-panel", "b", "c")
    driver.act("a-panel", "talkback", "press")
    assert driver.act("a-panel", "talkback", "release").reply["zones"] == ["a", "b", "c"]


def test_two_plain_clients_hold_apart() -> None:
    """One that lets go does not let go of what the other holds."""
    driver = Driver(venues.row(1))
    other = Actor("another program", "http")
    for by in (PLAIN, other):
        driver.act("a-panel", "talkback", "press", by=by, for_s=5.0)
    driver.act("a-panel", "talkback", "release", by=PLAIN)
    assert driver.value("a", "talkback") is True
    driver.act("a-panel", "talkback", "release", by=other)
    assert driver.value("a", "talkback") is False


def test_a_zone_and_a_controller_of_one_name_are_held_apart() -> None:
    """The name says what kind it is of, and ends with the control."""
    driver = Driver(venues.row(1, controllers={"a": {"home": "a"}}))
    through, direct = (Act(FINGER, "talkback", "press", *surface) for surface in (("a", None), (None, "a")))
    driver.do(through)
    driver.do(direct)
    assert list(driver.state.holds) == ["finger/controller/a/talkback", "finger/zone/a/talkback"]
    driver.do(replace(through, do="release"))
    assert driver.value("a", "talkback") is True


def test_who_lets_go_is_called_by_the_same_name_as_when_it_held() -> None:
    """Not by that of the socket."""
    driver = Driver(venues.row(1))
    driver.act("a", "volume", "raise")
    held = driver.control("a", "volume")["by"]
    driver.advance(0.5)
    driver.act("a", "volume", "stop")
    assert (held, driver.control("a", "volume")["by"]) == (FINGER.who, FINGER.who)
