"""A routine that would end a party: it warns, may be kept from it, and waits for people to go."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core import view
from roomlink.core.commands import CLOCK, Actor, AnnounceRoutine, KeepOn, ReportPresence, RunRoutine
from roomlink.core.evening_records import ClosingSet
from roomlink.errors import Refused, UnknownName
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import at, book, data

QUIET, WARN = 1200.0, 300.0
"""A use by hand counts for 20 minutes; people are told 5 minutes before."""


def hall(**more: Any) -> Driver:
    routine = {"scene": "dark", "cron": {}, "unless_used": QUIET, "warn": WARN, "name": "All off", **more}
    return Driver(data(routines={"all-off": routine}, presence={"c": {"device": "d", "point": {}}}))


def run(driver: Driver, minutes: float) -> list[str]:
    """The routine is due; gives the zones in which it runs."""
    driver.advance_to(at(minutes))
    zones: list[str] = driver.do(RunRoutine(CLOCK, "all-off", driver.now)).reply["zones"]
    return zones


def announce(driver: Driver, due: float) -> list[str]:
    zones: list[str] = driver.do(AnnounceRoutine(CLOCK, "all-off", at(due))).reply["zones"]
    return zones


def told(driver: Driver, panel: str = "a-panel") -> list[tuple[float, str, bool]]:
    found = view.face(driver.state, panel, driver.now)["closings"]
    return [(driver.state.closings[c["routine"], c["zone"]].at, c["why"], c["warned"]) for c in found]


def test_a_routine_runs_where_nobody_is_and_waits_where_somebody_was() -> None:
    """Until the last use is long enough ago; five minutes before, people there are told."""
    driver = hall()
    driver.advance_to(at(50))
    driver.set("a", "volume", -20.0)
    assert run(driver, 60) == ["b", "c"]
    assert told(driver) == [(at(70), "used at 01:06", False)]
    driver.advance_to(at(65) - 1.0)
    assert told(driver)[0][2] is False
    driver.advance_to(at(65))
    assert told(driver) == [(at(70), "used at 01:06", True)]
    assert driver.value("a", "mute") is False
    driver.advance_to(at(70))
    assert (told(driver), driver.value("a", "mute")) == ([], True)


def test_each_use_puts_it_off_again() -> None:
    """Before the warning and after it."""
    driver = hall()
    driver.advance_to(at(50))
    driver.set("a", "volume", -20.0)
    run(driver, 60)
    driver.advance_to(at(62))
    driver.set("a", "volume", -21.0)
    driver.advance_to(at(65))
    assert told(driver) == [(at(82), "used at 01:18", False)]
    driver.advance_to(at(80))
    assert told(driver)[0][2] is True
    driver.set("a", "volume", -22.0)
    driver.advance_to(at(82))
    assert told(driver) == [(at(100), "used at 01:36", False)]
    driver.advance_to(at(100))
    assert driver.value("a", "mute") is True


def test_people_are_told_before_the_routine_is_due() -> None:
    """Where they are; elsewhere it comes without a word."""
    driver = hall()
    driver.advance_to(at(45))
    driver.set("a", "volume", -20.0)
    driver.advance_to(at(55))
    assert announce(driver, 60) == ["a"]
    assert told(driver) == [(at(60), "used at 01:01", True)]
    assert told(driver, "b-panel") == []
    driver.advance_to(at(60))
    assert told(driver)[0][0] == at(65), "the last use still counts"
    assert run(driver, 60) == ["b", "c"]
    driver.advance_to(at(65))
    assert driver.value("a", "mute") is True


def test_people_may_keep_it_on() -> None:
    """For as long again as after a use; a panel speaks for its own zones."""
    driver = hall()
    driver.advance_to(at(50))
    driver.set("a", "volume", -20.0)
    driver.set("b", "volume", -20.0)
    run(driver, 60)
    driver.advance_to(at(66))
    reply = driver.do(KeepOn(Actor("a-panel", "panel"), "all-off", controller="a-panel")).reply
    assert reply["zones"] == ["a"]
    assert told(driver) == [(at(90), "kept on by a-panel", False)]
    driver.advance_to(at(70))
    assert (driver.value("a", "mute"), driver.value("b", "mute")) == (False, True)
    assert run(driver, 75) == ["b", "c"], "it stays kept on when the routine comes round again"
    driver.advance_to(at(90))
    assert driver.value("a", "mute") is True
    with pytest.raises(Refused, match="is not about to end anything"):
        driver.do(KeepOn(PLAIN, "all-off"))
    with pytest.raises(UnknownName):
        driver.do(KeepOn(PLAIN, "all-on"))


def test_somebody_who_is_there_puts_it_off_without_touching_anything() -> None:
    """As long as a sensor says so; a sensor that is lost keeps nothing on."""
    driver = hall()
    driver.do(ReportPresence(PLAIN, "c", True))
    assert run(driver, 60) == ["a", "b"]
    driver.advance_to(at(120))
    assert driver.value("c", "mute") is False
    assert told(driver, "c-panel")[0][1] == "somebody is there"
    driver.do(ReportPresence(PLAIN, "c", False))
    driver.advance_to(at(145))
    assert driver.value("c", "mute") is True


def test_a_routine_that_does_not_care_runs_whoever_is_there() -> None:
    """As all did before."""
    driver = hall(unless_used=0.0)
    driver.advance_to(at(59))
    driver.set("a", "volume", -20.0)
    assert run(driver, 60) == ["a", "b", "c"]
    assert announce(driver, 70) == []
    assert not any(isinstance(event, ClosingSet) for event in driver.events)


def test_a_booking_that_begins_meanwhile_holds_the_zone() -> None:
    """The routine is left out there, and what it waited for is over."""
    driver = hall()
    driver.advance_to(at(50))
    driver.set("a", "volume", -20.0)
    run(driver, 60)
    book(driver, "a", 68, 90)
    driver.advance_to(at(80))
    assert (told(driver), driver.value("a", "mute")) == ([], False)


def test_what_was_deferred_waits_for_people_too() -> None:
    """A booking is over, and its last guests are still there."""
    driver = hall(when_busy="defer")
    book(driver, "a", 50, 70)
    assert run(driver, 60) == ["b", "c"]
    driver.advance_to(at(69))
    driver.set("a", "volume", -20.0)
    driver.advance_to(at(71))
    assert (driver.value("a", "mute"), told(driver)[0][0]) == (False, at(89))
    driver.advance_to(at(89))
    assert driver.value("a", "mute") is True


def test_a_new_configuration_forgets_what_it_does_not_have() -> None:
    """Routines that are gone, and presence that nobody senses."""
    driver = hall()
    driver.do(ReportPresence(PLAIN, "c", True))
    run(driver, 60)
    driver.configure(data())
    assert (len(driver.state.closings), len(driver.state.presences)) == (0, 0)


def test_a_new_configuration_in_which_a_routine_is_for_other_zones_forgets_those_it_waited_for() -> None:
    """Whether it waited for people or for a booking."""
    driver = hall(when_busy="defer")
    book(driver, "b", 30, 90)
    driver.advance_to(at(50))
    driver.set("a", "volume", -20.0)
    run(driver, 60)
    routine = driver.state.spec.data["routines"]["all-off"]
    driver.configure({**driver.state.spec.data, "routines": {"all-off": {**routine, "zones": ["c"]}}})
    driver.advance_to(at(120))
    assert (driver.value("a", "mute"), driver.value("b", "mute"), told(driver)) == (False, False, [])


def test_an_announced_routine_that_a_new_configuration_has_at_another_time_comes_then_alone() -> None:
    """What it announced is taken back, unless somebody has kept it on since."""
    for kept, ends in ((False, 60.0), (True, 80.0)):
        driver = hall()
        driver.advance_to(at(50))
        driver.set("a", "volume", -20.0)
        driver.advance_to(at(55))
        assert announce(driver, 60) == ["a"]
        if kept:
            driver.do(KeepOn(PLAIN, "all-off"))
        routine = driver.state.spec.data["routines"]["all-off"]
        changed = {"all-off": {**routine, "cron": {"hour": "3"}}}
        driver.configure({**driver.state.spec.data, "routines": changed})
        assert [when for when, *_ in told(driver)] == ([at(ends)] if kept else [])
        driver.advance_to(at(75))
        assert driver.value("a", "mute") is False
