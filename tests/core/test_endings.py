"""The end of a booking: guests are told, may have it longer where the zones are free, and leave nothing behind."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import view
from roomlink.core.commands import Actor, ProlongDate, ReportWall, SetLock
from roomlink.core.evening_records import EndingSet
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import SCENES, at, book, cancel, change_one, data, key

MINUTE = 60.0
WARNED = {"warn": 600.0, "extend": [900.0, 1800.0]}
IDLE = {**SCENES, "idle": {"type": "section", "values": {"volume": -50.0, "program": None}}}


def hall(*, idle: bool = False, **more: Any) -> Driver:
    venue = data(**{"bookings": WARNED, "scenes": IDLE, **more})
    if idle:
        for zone in venue["zones"].values():
            zone["idle"] = "idle"
    return Driver(venue)


def told(driver: Driver, panel: str = "a-panel") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = view.face(driver.state, panel, driver.now)["endings"]
    return found


def prolong(driver: Driver, minutes: float, name: str = "gala", start: float = 60, **more: Any) -> Any:
    return driver.do(ProlongDate(PLAIN, name, key(start), minutes * MINUTE, **more)).reply


def test_guests_are_told_ten_minutes_before_the_end_on_the_panels_of_their_zones() -> None:
    """And nobody else is, and not before."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala")
    driver.advance_to(at(110) - 0.001)
    assert told(driver) == []
    driver.advance_to(at(110))
    assert [(e["booking"], e["occurrence"], [o["minutes"] for o in e["offers"]]) for e in told(driver)] == [
        ("gala", key(60), [15.0, 30.0])
    ]
    assert told(driver, "b-panel") == told(driver)
    assert told(driver, "c-panel") == []
    driver.advance_to(at(120))
    assert told(driver) == []


def test_nothing_wakes_the_core_between_the_beginning_and_the_warning() -> None:
    """A warning is a deadline."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala")
    driver.advance_to(at(60))
    before = len(driver.decisions)
    driver.advance_to(at(110))
    assert len(driver.decisions) == before + 1
    assert [type(e) for e in driver.decisions[-1].events] == [EndingSet]


def test_only_what_is_free_is_offered() -> None:
    """Guests that follow have their set-up; one's own clear-down comes before it."""
    driver = hall()
    book(driver, "ab", 60, 120, name="gala", clear_down=300.0)
    book(driver, "b", 150, 180, name="next", set_up=600.0)
    driver.advance_to(at(112))
    (ending,) = told(driver)
    assert [o["minutes"] for o in ending["offers"]] == [15.0]
    with pytest.raises(Refused) as refused:
        prolong(driver, 16)
    assert refused.value.kind == "not-free"
    assert refused.value.members["until"] == ending["free_until"] == "1970-01-01T02:31:40.000Z"
    assert prolong(driver, 15)["zones"] == ["a", "b"]


def test_having_it_longer_moves_the_end_of_that_date_alone() -> None:
    """The next date of a series ends as it did, and people are told of the new end."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala", dates=2, every=1440)
    driver.advance_to(at(115))
    prolong(driver, 15)
    assert told(driver) == []
    assert [driver.state.occurrences["gala", k].end for k in driver.state.dates["gala"]] == [at(135), at(1560)]
    driver.advance_to(at(125))
    assert len(told(driver)) == 1
    driver.advance_to(at(135))
    assert driver.state.occurrences["gala", key(60)].phase == "over"


def test_only_what_is_on_is_had_longer() -> None:
    """Before it the booking is changed; after it, it is over."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala")
    with pytest.raises(Refused, match="not on now"):
        prolong(driver, 15)
    driver.advance_to(at(70))
    for minutes in (0.5, 241, float("nan")):
        with pytest.raises(BadValue, match="1 to 240 minutes"):
            prolong(driver, minutes)
    with pytest.raises(UnknownName):
        prolong(driver, 15, start=61)
    with pytest.raises(Refused, match="speaks for its own zones only"):
        prolong(driver, 15, controller="c-panel")
    assert prolong(driver, 15, controller="a-panel")["occurrence"] == key(60)
    driver.advance_to(at(140))
    with pytest.raises(Refused, match="not on now"):
        prolong(driver, 15)


def test_a_date_that_is_moved_or_cancelled_takes_its_warning_along() -> None:
    """So does a shorter one: its guests are told at once where it is time."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala")
    driver.advance_to(at(90))
    change_one(driver, "gala", key(60), end=at(98))
    assert len(told(driver)) == 1
    cancel(driver, "gala")
    assert told(driver) == []
    assert ("ending", "gala", key(60)) not in driver.state.deadlines.standing()


def test_a_new_configuration_tells_guests_when_it_says() -> None:
    """Also those who are here already; who was told is not told twice."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala")
    driver.advance_to(at(70))
    driver.configure(data(bookings={**WARNED, "warn": 1200.0}, scenes=IDLE))
    driver.advance_to(at(100))
    assert len(told(driver)) == 1
    driver.configure(data(bookings=WARNED, scenes=IDLE))
    assert len(told(driver)) == 1


def test_a_venue_that_warns_nobody_has_no_warnings() -> None:
    """As all of before warnings were known."""
    driver = hall(bookings={"warn": 0.0})
    book(driver, "a", 60, 120, name="gala")
    driver.advance_to(at(119))
    assert told(driver) == []
    assert len(driver.state.endings) == 0


# Afterwards


def test_at_clear_down_the_zones_are_idle_and_microphones_muted() -> None:
    """In one entry; zones without an idle scene stay as they are."""
    mics = {"lectern": {"name": "Lectern", "zone": "a", "mute": "mute"}}
    driver = hall(idle=True, microphones=mics)
    book(driver, "ab", 60, 120, name="gala", clear_down=900.0)
    driver.advance_to(at(100))
    driver.set("a", "volume", -10.0)
    driver.set("a", "program", "laptop")
    driver.set("b", "volume", -12.0)
    driver.set("c", "volume", -14.0)
    driver.advance_to(at(121))
    assert [driver.value(zone, "volume") for zone in "abc"] == [-50.0, -50.0, -14.0]
    assert (driver.value("a", "program"), driver.value("a", "mute"), driver.value("b", "mute")) == (None, True, False)
    plain = hall()
    book(plain, "a", 60, 120)
    plain.advance_to(at(100))
    plain.set("a", "volume", -10.0)
    plain.advance_to(at(121))
    assert plain.value("a", "volume") == -10.0


def test_guests_that_follow_at_once_keep_what_their_set_up_gave() -> None:
    """Whichever of the two is decided first."""
    for first, second in (("aa", "zz"), ("zz", "aa")):
        driver = hall(idle=True)
        book(driver, "a", 60, 120, name=first)
        book(driver, "a", 120, 180, name=second, scene="dinner")
        driver.advance_to(at(121))
        assert driver.value("a", "volume") == -38.0


def test_what_guests_pinned_and_locked_is_free_when_they_are_gone() -> None:
    """What a technician pinned and locked stays."""
    driver = hall()
    book(driver, "a", 60, 120, name="gala")
    driver.advance_to(at(70))
    for who, wall in (("a-panel", "a-b"), ("kim", "b-c")):
        driver.do(ReportWall(Actor(who, "http"), wall, "open", pin=86400.0))
    driver.do(SetLock(Actor("a-panel", "panel"), "guests", zone="a", controls=("volume",), secret="$argon2id$x"))
    driver.do(SetLock(Actor("kim", "http"), "kims", zone="a", controls=("program",)))
    driver.advance_to(at(121))
    assert driver.state.walls["a-b"].pinned_until is None
    assert driver.state.walls["b-c"].pinned_until is not None
    assert list(driver.state.locks.live()) == ["kims"]


def test_a_lock_of_guests_keeps_no_microphone_open_at_clear_down() -> None:
    """It goes first, so that their zone is idle as well."""
    driver = hall(idle=True, microphones={"lectern": {"name": "Lectern", "zone": "a", "mute": "mute"}})
    book(driver, "a", 60, 120, name="gala", clear_down=900.0)
    driver.advance_to(at(100))
    driver.do(SetLock(Actor("a-panel", "panel"), "guests", zone="a"))
    driver.advance_to(at(121))
    assert (driver.value("a", "mute"), driver.value("a", "volume")) == (True, -50.0)


def test_zones_that_part_as_guests_pins_go_are_idle_all_the_same() -> None:
    """What ``on_separate`` restores comes before the idle scene."""
    rules = venues.lead_by_order("abc", on_separate={"program": "restore", "volume": "restore"})
    driver = hall(idle=True, combining=rules)
    book(driver, "ab", 60, 120, name="gala", clear_down=900.0)
    driver.advance_to(at(100))
    driver.wall("a-b", "closed")
    driver.set("b", "program", "laptop")
    driver.do(ReportWall(Actor("a-panel", "http"), "a-b", "open", pin=86400.0))
    driver.advance_to(at(121))
    assert driver.groups()[0] == ["a"]
    assert (driver.value("b", "program"), driver.value("b", "volume")) == (None, -50.0)


@pytest.mark.parametrize("clear_down", [0.0, 1800.0])
def test_a_booking_whose_end_is_put_before_now_clears_down_at_once(clear_down: float) -> None:
    """As its guests are gone: only what is cancelled stays as it is."""
    driver = hall(idle=True, microphones={"lectern": {"name": "Lectern", "zone": "a", "mute": "mute"}})
    book(driver, "a", 60, 120, name="gala", clear_down=clear_down)
    driver.advance_to(at(100))
    driver.link("a-panel", "c")
    change_one(driver, "gala", key(60), end=at(82))
    driver.wake()
    phase = "clear-down" if clear_down and at(82) + clear_down > driver.now else "over"
    assert driver.state.occurrences["gala", key(60)].phase == phase
    assert (driver.value("a", "mute"), driver.value("a", "volume"), driver.linked("a-panel")) == (True, -50.0, ["a"])


# After an outage


@pytest.mark.parametrize(("away", "volume"), [(1800.0, -10.0), (1801.0, -50.0)])
def test_after_a_long_outage_zones_without_a_booking_are_idle(away: float, volume: float) -> None:
    """After a short one everything goes on, and what is booked goes on after any."""
    driver = hall(idle=True)
    book(driver, "b", 0, 600, name="gala")
    driver.advance_to(at(10))
    driver.set("a", "volume", -10.0)
    driver.set("b", "volume", -12.0)
    driver.restart(down_s=away)
    assert (driver.value("a", "volume"), driver.value("b", "volume")) == (volume, -12.0)


def test_after_a_long_outage_an_idle_zone_that_has_joined_a_live_booking_stays_as_it_is() -> None:
    """Its people are in that room."""
    driver = hall(idle=True)
    book(driver, "b", 0, 600, name="gala")
    driver.advance_to(at(10))
    driver.wall("a-b", "open")
    driver.set("a", "volume", -10.0)
    driver.restart(down_s=3600.0)
    assert driver.value("a", "volume") == -10.0


def test_how_long_is_long_is_configured() -> None:
    """In the section of the venue itself."""
    driver = Driver()
    venue = data(scenes=IDLE)
    venue["venue"]["idle_after"] = 60.0
    venue["zones"]["a"]["idle"] = "idle"
    driver.configure(venue)
    driver.set("a", "volume", -10.0)
    driver.restart(down_s=61.0)
    assert driver.value("a", "volume") == -50.0
    assert venues.level()["start"] == -30.0, "the idle scene differs from the start"


def test_a_zone_that_is_locked_stays_as_it_is_at_clear_down() -> None:
    """A technician's lock stands above the diary, and the other zones are idle all the same."""
    driver = hall(idle=True)
    book(driver, "ab", 60, 120, name="gala")
    driver.advance_to(at(100))
    driver.set("a", "volume", -10.0)
    driver.set("b", "volume", -12.0)
    driver.do(SetLock(Actor("kim", "http"), "closed", zone="a"))
    driver.advance_to(at(121))
    assert (driver.value("a", "volume"), driver.value("b", "volume")) == (-10.0, -50.0)
