"""What is private is told to nobody: not of now, not of earlier, not of a zone that a private booking has."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from roomlink.core import discretion, evening_view, travel_view, view
from roomlink.core.actor import Actor
from roomlink.core.apply import apply
from roomlink.core.bookings import BookingSet, OccurrencesSet
from roomlink.core.commands import CreateBooking, ForgetBookings
from roomlink.core.decide import Request
from roomlink.core.evening_records import AnnounceRoutine, ReportPresence
from roomlink.core.events import Answered, ControlSet, encode
from roomlink.core.lock_records import LockEnded, LockSet, ReleaseLock, SetLock
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import at, book, cancel, change, hall, wish

SECRET: dict[str, Any] = {"title": "Merger", "organiser": "Kim", "attendance": 77}


@pytest.fixture
def driver() -> Driver:
    return hall()


def told(driver: Driver) -> str:
    """Everything that ever happened, as a reader of today sees it."""
    return repr([encode(discretion.told(driver.state, event)) for event in driver.events])


def test_made_private_later_it_is_so_in_what_was_told_before(driver: Driver) -> None:
    """Title, organiser and people, of the booking and of its dates; the rest stays."""
    book(driver, "a", 60, 120, name="deal", **SECRET)
    assert "Merger" in told(driver)
    change(driver, "deal", "a", 60, 120, private=True, **SECRET)
    for word in ("Merger", "Kim", "'attendance': 77"):
        assert word not in told(driver)
    kinds = [type(event) for event in driver.events]
    assert {BookingSet, OccurrencesSet} <= set(kinds)


def test_made_public_later_what_was_private_then_stays_so(driver: Driver) -> None:
    """Whoever booked it had a reason then."""
    book(driver, "a", 60, 120, name="deal", private=True, **SECRET)
    before = len(driver.events)
    change(driver, "deal", "a", 60, 120, title="Open day")
    seen = [discretion.told(driver.state, event) for event in driver.events]
    assert "Merger" not in repr(seen[:before])
    assert "Open day" in repr(seen[before:])


def test_a_forgotten_booking_stays_as_private_as_it_was_last(driver: Driver) -> None:
    """Long after it was over, and after a snapshot; one that was never private can be read for ever."""
    book(driver, "a", 60, 120, name="deal", **SECRET)
    book(driver, "b", 60, 120, name="fair", title="Fair")
    change(driver, "deal", "a", 60, 120, private=True, **SECRET)
    driver.advance(3 * 3600.0)
    driver.do(ForgetBookings(PLAIN, driver.now))
    assert "deal" not in driver.state.bookings
    assert "Merger" not in told(driver)
    assert "Fair" in told(driver)


def test_one_who_may_see_it_sees_it(driver: Driver) -> None:
    """The one place has a word for that."""
    book(driver, "a", 60, 120, name="deal", private=True, **SECRET)
    assert "Merger" in repr([discretion.told(driver.state, event, may_see=True) for event in driver.events])
    driver.advance(3600.0)
    assert not discretion.veiled(driver.state, "a", may_see=True)


def test_a_kept_reply_does_not_tell_what_became_private(driver: Driver) -> None:
    """Dates that were left out name what stood in their way: as it may be told now."""
    book(driver, "a", 60, 120, name="deal", **SECRET)
    again = wish("a", 60, 120, every=1440, dates=2, rrule="FREQ=DAILY;COUNT=2")
    driver.do(CreateBooking(PLAIN, "daily", again, True), Request("key", "digest", 9))
    assert any(isinstance(event, Answered) for event in driver.events)
    assert "Merger" in told(driver)
    change(driver, "deal", "a", 60, 120, private=True, **SECRET)
    assert "Merger" not in told(driver)


def test_an_earlier_state_is_as_discreet_as_what_is_known_now(driver: Driver) -> None:
    """The booking that had the zone then had a title then."""
    book(driver, "a", 60, 120, name="deal", **SECRET)
    driver.advance(3600.0)
    then = driver.state.copy()
    assert view.zone(then, "a", driver.now)["in_use"]["title"] == "Merger"
    change(driver, "deal", "a", 60, 120, private=True, **SECRET)
    for event in discretion.as_known(then, driver.state):
        apply(then, event)
    seen = view.whole(then, 0, driver.now)
    assert "Merger" not in repr(seen)
    assert (seen["zones"]["a"]["in_use"]["title"], seen["zones"]["a"]["controls"]) == ("in use", {})


# Zones


def test_of_a_zone_in_private_use_only_that_is_told(driver: Driver) -> None:
    """From set-up until the guests go; its neighbours, and its own panel's face, are as ever."""
    book(driver, "a", 60, 120, set_up=1800.0, clear_down=600.0, private=True)
    for minutes, shows in ((0, True), (30, False), (60, False), (119, False), (120, True)):
        driver.advance_to(at(minutes))
        seen = view.whole(driver.state, 0, driver.now)
        assert bool(seen["zones"]["a"]["controls"]) is shows, minutes
        assert bool(seen["zones"]["a"]["linked_by"]) is shows
        assert bool(seen["controllers"]["a-panel"]["controls"]) is shows
        assert seen["zones"]["b"]["controls"]
        assert seen["controllers"]["b-panel"]["controls"]
        assert view.face(driver.state, "a-panel", driver.now)["controls"]


def test_what_went_on_in_a_zone_in_private_use_is_not_told(driver: Driver) -> None:
    """By the time at which it happened, also long afterwards, and also if it became private later."""
    book(driver, "a", 60, 120, name="deal")
    record = driver.state.controls["a", "volume"]
    inside, outside = ControlSet("a", "volume", record), ControlSet("b", "volume", record)
    assert discretion.veiled_zone(driver.state, inside, at(90)) is None
    change(driver, "deal", "a", 60, 120, private=True)
    for minutes, zone in ((59.9, None), (60, "a"), (119.9, "a"), (120, None)):
        assert discretion.veiled_zone(driver.state, inside, at(minutes)) == zone
        assert discretion.veiled_zone(driver.state, outside, at(minutes)) is None
    driver.advance(86400.0)
    assert discretion.veiled_zone(driver.state, inside, at(90)) == "a"
    assert discretion.veiled_zone(driver.state, inside, at(90), may_see=True) is None


def test_every_event_that_tells_of_a_zone_is_covered(driver: Driver) -> None:
    """Links, hands, holds and what is remembered; found by what really happens in a private hour."""
    book(driver, "a", 0, 120, private=True)
    driver.advance(60.0)
    before = len(driver.events)
    driver.set("a-panel", "volume", -10.0)
    driver.act("a-panel", "talkback", "press")
    driver.act("a-panel", "talkback", "release")
    driver.unlink("a-panel")
    happened = driver.events[before:]
    assert len({type(event) for event in happened}) > 3
    for event in happened:
        assert discretion.veiled_zone(driver.state, event, driver.now) == "a", event


def test_of_a_lock_where_a_private_booking_is_neither_who_set_it_nor_why_is_told(driver: Driver) -> None:
    """On its zone, and on a controller that works it; that there is one, and until when, must be seen at panels."""
    book(driver, "a", 0, 120, private=True)
    driver.advance(60.0)
    before = len(driver.events)
    robin = Actor("robin", "http")
    driver.do(SetLock(robin, "quiet", zone="a", seconds=600.0, why="the minister speaks"))
    driver.do(SetLock(robin, "desk", controller="a-panel", why="the minister speaks"))
    driver.do(SetLock(robin, "other", zone="b", why="tuning"))
    seen = view.whole(driver.state, 0, driver.now)
    for locks in (seen["locks"], view.place(driver.state)["locks"]):
        assert [(locks[name]["by"], locks[name]["why"]) for name in ("quiet", "desk")] == [("", "")] * 2
        assert (locks["other"]["by"], locks["other"]["why"]) == ("robin", "tuning")
        assert (locks["quiet"]["zone"], bool(locks["quiet"]["until"])) == ("a", True)
    assert "robin" not in repr(seen["controllers"]["a-panel"])
    assert view.face(driver.state, "a-panel", driver.now)["locked"]["by"] == "robin", "its own panel's face"
    assert view.whole(driver.state, 0, driver.now, may_see=True)["locks"]["quiet"]["why"] == "the minister speaks"
    for name in ("quiet", "desk"):
        driver.do(ReleaseLock(robin, name, entitled=True))
    told = [e for e in driver.events[before:] if isinstance(e, LockSet | LockEnded) and e.lock != "other"]
    assert [discretion.veiled_zone(driver.state, event, driver.now) for event in told] == ["a"] * 4


def test_whether_anybody_is_in_a_zone_in_private_use_is_not_told() -> None:
    """Nor what a routine waits for there, nor whether a microphone is open; only a reader who may see it hears that."""
    routine = {"scene": "dark", "cron": {}, "unless_used": 600.0, "warn": 60.0}
    microphone = {"name": "Lectern", "zone": "a", "at": None, "level": "volume", "mute": "mute"}
    presence = {"a": {"device": "d", "point": {}}}
    driver = hall(routines={"all-off": routine}, presence=presence, microphones={"lectern": microphone})
    driver.set("a-panel", "mute", False)
    driver.do(ReportPresence(PLAIN, "a", True))
    driver.do(AnnounceRoutine(PLAIN, "all-off", driver.now + 30.0))

    def said(may_see: bool = False) -> tuple[Any, ...]:
        evening = evening_view.whole(driver.state, may_see=may_see)
        lectern = travel_view.all_microphones(driver.state, may_see=may_see)["lectern"]
        links = view.zone_links(driver.state, "a", may_see=may_see)
        return links.get("present"), bool(evening["presence"]["a"]), len(evening["closings"]), lectern["open"]

    assert said() == (True, True, 1, True)
    book(driver, "a", 0, 120, private=True)
    driver.advance(1.0)
    assert said() == (None, False, 0, None)
    assert said(may_see=True) == (True, True, 1, True)
    driver.do(ReportPresence(PLAIN, "a", False))
    assert discretion.veiled_zone(driver.state, driver.events[-1], driver.now) == "a"


def test_a_cancelled_booking_veils_nothing(driver: Driver) -> None:
    """It has no zone."""
    book(driver, "a", 0, 120, name="deal", private=True)
    driver.advance(60.0)
    assert discretion.veiled(driver.state, "a")
    cancel(driver, "deal")
    assert not discretion.veiled(driver.state, "a")


def test_a_hidden_booking_keeps_what_everybody_may_know(driver: Driver) -> None:
    """When and where."""
    book(driver, "a", 60, 120, name="deal", private=True, **SECRET)
    record = driver.state.bookings["deal"]
    assert discretion.booking(record) == replace(record, title="in use", organiser="", attendance=None)
