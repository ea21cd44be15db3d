"""What a booking does at its time: scene, links and requests at set-up, their end with the guests; no wall moves."""

from __future__ import annotations

import contextlib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.core import view, wall_view
from roomlink.core.bookings import PhaseSet
from roomlink.core.commands import Act, Configure, RunRoutine
from roomlink.core.events import Noticed, WallSet
from roomlink.core.instants import rfc3339
from roomlink.errors import Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import at, book, cancel, change, change_one, data, hall, key, phases

AROUND: dict[str, Any] = {"set_up": 600.0, "clear_down": 600.0}
"""Ten minutes on either side."""
OFF: dict[str, Any] = {"scene": "dark", "cron": {"hour": "23"}}


@pytest.fixture
def driver() -> Driver:
    return hall()


def wait(driver: Driver, minutes: float) -> None:
    """Let time pass up to so many minutes after the first stamp."""
    driver.advance_to(at(minutes))


def requests(driver: Driver) -> dict[str, str]:
    return {wall: request.position for wall, request in driver.state.wall_requests.items()}


def notices(driver: Driver) -> list[str]:
    return [event.text for event in driver.events if isinstance(event, Noticed)]


def booked_links(driver: Driver) -> set[tuple[str, str]]:
    return {key for key, link in driver.state.links.items() if "booking" in link.reasons}


# Phases


def test_a_booking_goes_through_its_phases_by_deadlines(driver: Driver) -> None:
    """Each at its time, by the core's own waking."""
    book(driver, "a", 60, 120, name="gala", **AROUND)
    seen = []
    for minutes in (49.9, 50, 60, 120, 129.9, 130):
        wait(driver, minutes)
        seen += phases(driver, "gala")
    assert seen == ["waiting", "set-up", "running", "clear-down", "clear-down", "over"]
    assert driver.state.deadlines.first() is None


def test_a_zone_shows_who_has_it(driver: Driver) -> None:
    """From set-up to the end of clear-down."""
    book(driver, "ab", 60, 120, name="gala", **AROUND)
    assert view.zone(driver.state, "a", driver.now)["in_use"] is None
    wait(driver, 50)
    assert view.zone(driver.state, "a", driver.now)["in_use"] == {
        "booking": "gala",
        "occurrence": key(60),
        "title": "Gala",
        "private": False,
        "phase": "set-up",
        "start": rfc3339(at(60)),
        "end": rfc3339(at(120)),
    }
    assert view.zone(driver.state, "c", driver.now)["in_use"] is None
    wait(driver, 130)
    assert view.zone(driver.state, "a", driver.now)["in_use"] is None


def test_a_tentative_or_transparent_booking_does_nothing_at_its_time(driver: Driver) -> None:
    """One only holds its zones, the other not even that."""
    book(driver, "a", 60, 120, status="tentative", scene="dinner")
    book(driver, "b", 60, 120, transparent=True, scene="dinner")
    wait(driver, 90)
    assert driver.values("volume", "ab") == [-30.0, -30.0]
    assert not driver.state.in_use


# Set-up


def test_set_up_gives_the_zones_their_scene(driver: Driver) -> None:
    """And no other zone."""
    book(driver, "ab", 60, 120, scene="dinner", **AROUND)
    wait(driver, 50)
    assert driver.values("volume", "abc") == [-38.0, -38.0, -30.0]


def test_a_hand_holds_against_the_diary_until_the_next_booking(driver: Driver) -> None:
    """Start and end of the booking change nothing that a hand set."""
    book(driver, "a", 60, 120, scene="dinner", **AROUND)
    book(driver, "a", 150, 180, scene="dinner")
    wait(driver, 50)
    driver.set("a", "volume", -10.0)
    for minutes in (60, 120, 130, 149):
        wait(driver, minutes)
        assert driver.value("a", "volume") == -10.0
    wait(driver, 150)
    assert driver.value("a", "volume") == -38.0


def test_a_closed_wall_is_asked_for_and_joins_nothing(driver: Driver) -> None:
    """Walls inside shall be open, those on the edge closed; the request is met once the wall stands so."""
    book(driver, "ab", 60, 120, name="gala", **AROUND)
    driver.wall("b-c", "closed")
    wait(driver, 50)
    assert requests(driver) == {"a-b": "open", "b-c": "closed"}
    assert driver.groups() == [["a"], ["b"], ["c"]]
    assert not any(isinstance(event, WallSet) for event in driver.decisions[-1].events)
    seen = wall_view.partition(driver.state, "a-b")["requested"]
    assert (seen["position"], seen["booking"], seen["by"], seen["met"]) == ("open", "gala", rfc3339(at(60)), False)
    assert wall_view.partition(driver.state, "b-c")["requested"]["met"]
    driver.wall("a-b", "open")
    assert wall_view.partition(driver.state, "a-b")["requested"]["met"]


def test_each_part_of_a_booking_has_its_own_lead_until_the_wall_opens(driver: Driver) -> None:
    """Then the lead of all is linked to all, and back when it closes."""
    book(driver, "ab", 60, 120)
    wait(driver, 60)
    assert booked_links(driver) == {("a-panel", "a"), ("b-panel", "b")}
    driver.wall("a-b", "open")
    assert booked_links(driver) == {("a-panel", "a"), ("a-panel", "b")}
    driver.wall("a-b", "closed")
    assert booked_links(driver) == {("a-panel", "a"), ("b-panel", "b")}
    assert driver.linked("a-panel") == ["a"]


def test_an_idle_zone_that_opens_onto_a_booking_locks_none_of_its_panels() -> None:
    """Though its own leads by the lead order: the booking's panels stay as they were, until it is over."""
    driver = hall(combining=venues.lead_by_order("abc", others="lock"))
    driver.wall("b-c", "open")
    book(driver, "bc", 60, 120)
    wait(driver, 60)
    before = {panel: driver.state.roles[panel].locked for panel in ("b-panel", "c-panel")}
    assert before == {"b-panel": None, "c-panel": "b-panel"}
    driver.wall("a-b", "open")
    assert {panel: driver.state.roles[panel].locked for panel in before} == before
    assert driver.act("b-panel", "volume", "set", value=-12.0).reply["zones"]
    wait(driver, 120)
    assert driver.state.roles["b-panel"].locked == "a-panel"


@pytest.mark.parametrize("policy", ["carry", "pickup"])
def test_a_wall_that_opens_within_a_booking_gives_levels_by_combining_alone(policy: str) -> None:
    """The booking's link follows the wall: what the lead set by hand before is not carried over the rule."""
    rule = {**venues.lead_by_order("abc"), "on_combine": {"volume": "quietest"}}
    driver = hall(combining=rule, panel={"on_link": policy})
    driver.set("a-panel", "volume", -20.0)
    driver.do(Act(PLAIN, "volume", "set", zone="a", value=-25.0))
    book(driver, "ab", 60, 120)
    wait(driver, 60)
    driver.wall("a-b", "open")
    assert driver.reasons("a-panel", "b") == ("booking", "combining")
    assert driver.state.links["a-panel", "b"].pickup == ()
    wait(driver, 61)
    assert driver.values("volume", "ab") == [-30.0, -30.0]


def test_without_combining_the_first_controller_at_home_is_linked() -> None:
    """There is no lead order then."""
    driver = hall(combining=None)
    driver.wall("a-b", "open")
    book(driver, "ab", 60, 120)
    wait(driver, 60)
    assert booked_links(driver) == {("a-panel", "a"), ("a-panel", "b")}
    wait(driver, 120)
    assert driver.linked("a-panel") == ["a"]


def test_links_and_requests_end_with_the_booking(driver: Driver) -> None:
    """At its end, not after clear-down; what else links stays."""
    driver.wall("a-b", "open")
    book(driver, "ab", 60, 120, **AROUND)
    wait(driver, 50)
    assert driver.reasons("a-panel", "b") == ("booking", "combining")
    wait(driver, 120)
    assert booked_links(driver) == set()
    assert driver.reasons("a-panel", "b") == ("combining",)
    assert requests(driver) == {}


def test_a_wall_that_a_new_configuration_puts_between_other_zones_is_asked_for_by_nobody(driver: Driver) -> None:
    """So nobody is late with it."""
    book(driver, "ab", 10, 60)
    wait(driver, 11)
    assert requests(driver) == {"a-b": "open", "b-c": "closed"}
    moved = data()
    moved["zones"]["d"] = moved["zones"]["c"]
    moved["partitions"]["a-b"]["between"] = ["c", "d"]
    driver.configure(moved)
    assert requests(driver) == {"b-c": "closed"}


def test_what_a_hand_unlinks_while_a_booking_is_on_stays_unlinked() -> None:
    """As its guests come, have it longer, and the configuration is read again: else ``carry`` would set its level."""
    driver = Driver(data(panel={"on_link": "carry"}))
    book(driver, "ab", 10, 60, name="gala", set_up=300.0)
    driver.wall("a-b", "open")
    wait(driver, 6)
    driver.set("a-panel", "volume", -10.0)
    driver.unlink("a-panel", "b")
    driver.set("b", "volume", -50.0)
    wait(driver, 11)
    change_one(driver, "gala", key(10), end=at(70))
    driver.configure(data(panel={"on_link": "carry"}))
    driver.advance(60.0)
    assert (driver.linked("a-panel"), driver.value("b", "volume")) == (["a"], -50.0)
    book(driver, "ab", 70, 90)
    wait(driver, 71)
    assert "booking" in driver.reasons("a-panel", "b"), "the next booking begins anew"


@pytest.mark.parametrize("end", ["over", "closed"])
def test_a_routine_leaves_an_idle_zone_alone_that_has_joined_a_live_booking(end: str) -> None:
    """People are in that room; where it waits, it runs as they are gone or the wall closes."""
    routine = {"scene": "dark", "cron": {}, "when_busy": "defer", "zones": ["b"]}
    driver = hall(routines={"night": routine})
    book(driver, "a", 10, 60)
    wait(driver, 20)
    driver.wall("a-b", "open")
    assert driver.do(RunRoutine(PLAIN, "night", driver.now)).reply["zones"] == []
    assert driver.values("mute", "ab") == [False, False]
    if end == "closed":
        driver.wall("a-b", "closed")
    else:
        wait(driver, 61)
    assert driver.values("mute", "ab") == [False, True]
    assert not list(driver.state.deferred.live())


def test_two_bookings_side_by_side_both_ask_for_the_wall_between(driver: Driver) -> None:
    """The request stays until the later one ends, too."""
    book(driver, "a", 60, 120, name="first")
    book(driver, "b", 70, 150, name="second")
    wait(driver, 80)
    assert driver.state.wall_requests["a-b"].booking == "first"
    wait(driver, 120)
    assert driver.state.wall_requests["a-b"].booking == "second"
    wait(driver, 150)
    assert requests(driver) == {}


def test_the_next_booking_begins_as_the_last_is_over(driver: Driver) -> None:
    """At the same instant, in one entry: the zone is never without its scene."""
    book(driver, "a", 60, 120, name="first", scene="dinner")
    book(driver, "a", 120, 180, name="second", scene="dark")
    wait(driver, 120)
    assert (phases(driver, "first"), phases(driver, "second")) == (["over"], ["running"])
    assert [e.phase for e in driver.decisions[-1].events if isinstance(e, PhaseSet)] == ["over", "running"]
    assert driver.value("a", "mute") is True


def test_a_scene_that_is_gone_is_noticed(driver: Driver) -> None:
    """Everything else of the set-up goes on."""
    book(driver, "a", 60, 120, name="gala", scene="dinner")
    less = data()
    less["scenes"] = {name: scene for name, scene in less["scenes"].items() if name != "dinner"}
    driver.do(Configure(PLAIN, less, "less"))
    wait(driver, 60)
    assert notices(driver) == ["booking gala has no scene any more: there is no dinner"]
    assert booked_links(driver) == {("a-panel", "a")}


# Changes while it is on


def test_a_booking_that_is_on_can_be_extended(driver: Driver) -> None:
    """It goes on, and its end comes later."""
    book(driver, "a", 60, 120, name="gala", scene="dinner")
    wait(driver, 90)
    driver.set("a", "volume", -10.0)
    change(driver, "gala", "a", 60, 150, scene="dinner")
    wait(driver, 140)
    assert phases(driver, "gala") == ["running"]
    assert driver.value("a", "volume") == -10.0
    wait(driver, 150)
    assert phases(driver, "gala") == ["over"]


def test_a_booking_that_is_on_can_be_moved_to_other_zones(driver: Driver) -> None:
    """Links and requests follow at once."""
    book(driver, "a", 60, 120, name="gala")
    wait(driver, 90)
    change(driver, "gala", "bc", 60, 120)
    assert booked_links(driver) == {("b-panel", "b"), ("c-panel", "c")}
    assert requests(driver) == {"a-b": "closed", "b-c": "open"}
    assert set(driver.state.in_use) == {"b", "c"}


@pytest.mark.parametrize("how", ["cancel", "cancel one", "put off", "tentative"])
def test_what_is_called_off_while_it_is_on_lets_go_of_its_zones(driver: Driver, how: str) -> None:
    """Whichever way it is called off."""
    book(driver, "ab", 60, 120, name="gala")
    wait(driver, 90)
    if how == "cancel":
        cancel(driver, "gala")
    elif how == "cancel one":
        change_one(driver, "gala", key(60), status="cancelled")
    elif how == "put off":
        change(driver, "gala", "ab", 200, 260)
    else:
        change(driver, "gala", "ab", 60, 120, status="tentative")
    assert (booked_links(driver), requests(driver), list(driver.state.in_use)) == (set(), {}, [])
    wait(driver, 210)
    assert list(driver.state.in_use) == (["a", "b"] if how == "put off" else [])


def test_a_booking_made_for_now_begins_at_once(driver: Driver) -> None:
    """Its set-up was due before it was booked, which is nobody's lateness."""
    wait(driver, 90)
    book(driver, "a", 60, 120, name="gala", scene="dinner")
    driver.wake()
    assert phases(driver, "gala") == ["running"]
    assert driver.value("a", "volume") == -38.0
    assert notices(driver) == []


# Private


def test_a_private_booking_reserves_its_zones(driver: Driver) -> None:
    """Controllers from elsewhere do not link them by hand; those at home in it do."""
    book(driver, "ab", 60, 120, name="deal", private=True)
    wait(driver, 60)
    with pytest.raises(Refused) as refused:
        driver.link("c-panel", "a")
    assert (refused.value.kind, refused.value.members["booking"]) == ("reserved", "deal")
    driver.link("b-panel", "a")
    wait(driver, 120)
    driver.link("c-panel", "a")


# After the service was away


def test_after_downtime_the_venue_catches_up_in_one_entry(driver: Driver) -> None:
    """To what should be now, not to everything missed; the entry says so."""
    book(driver, "a", 60, 120, name="missed", scene="dark")
    book(driver, "b", 30, 90, name="ended", scene="dark")
    book(driver, "a", 150, 240, name="now", scene="dinner")
    wait(driver, 40)
    driver.now = at(200)
    before = len(driver.decisions)
    driver.wake()
    assert len(driver.decisions) == before + 1
    assert [phases(driver, name) for name in ("missed", "ended", "now")] == [["over"], ["over"], ["running"]]
    assert driver.value("a", "mute") is False
    assert driver.value("a", "volume") == -38.0
    assert booked_links(driver) == {("a-panel", "a")}
    assert [text.split(",")[0] for text in notices(driver)] == [
        "booking missed went by without its set-up",
        "booking ended goes from running to over late",
        "booking now goes from waiting to running late",
    ]


def test_a_restart_gives_no_scene_twice(driver: Driver) -> None:
    """What a hand changed before the restart stays."""
    book(driver, "a", 60, 120, scene="dinner", **AROUND)
    wait(driver, 55)
    driver.set("a", "volume", -10.0)
    driver.restart(down_s=30 * 60.0)
    assert driver.value("a", "volume") == -10.0


# Routines


def test_a_routine_recalls_its_scene_where_nobody_is() -> None:
    """In a zone that is booked it is left out, with a notice."""
    driver = hall(routines={"off": OFF})
    book(driver, "a", 60, 120)
    wait(driver, 60)
    assert driver.do(RunRoutine(PLAIN, "off", driver.now)).reply["zones"] == ["b", "c"]
    assert driver.values("mute", "abc") == [False, True, True]
    assert notices(driver) == ["routine off left out a: a booking has it"]


def test_a_routine_may_wait_until_the_zone_is_free() -> None:
    """Until clear-down is over, and longer where the next booking begins at that moment."""
    driver = hall(routines={"off": {**OFF, "when_busy": "defer", "zones": ["a", "b"]}})
    book(driver, "a", 60, 120, **AROUND)
    book(driver, "a", 130, 150)
    wait(driver, 60)
    driver.do(RunRoutine(PLAIN, "off", driver.now))
    assert driver.values("mute", "abc") == [False, True, False]
    assert driver.state.deferred["off"] == ("a",)
    wait(driver, 130)
    assert driver.value("a", "mute") is False
    wait(driver, 150)
    assert driver.value("a", "mute") is True
    assert "off" not in driver.state.deferred


def test_a_routine_that_is_gone_no_longer_waits() -> None:
    """A new configuration ends it."""
    driver = hall(routines={"off": {**OFF, "when_busy": "defer"}})
    book(driver, "a", 60, 120)
    wait(driver, 60)
    driver.do(RunRoutine(PLAIN, "off", driver.now))
    driver.do(Configure(PLAIN, data(), "without"))
    assert not list(driver.state.deferred.live())
    with pytest.raises(UnknownName):
        driver.do(RunRoutine(PLAIN, "off", driver.now))


def test_a_routine_that_runs_late_says_so() -> None:
    """The entry tells when it was due."""
    driver = hall(routines={"off": OFF})
    wait(driver, 60)
    driver.do(RunRoutine(PLAIN, "off", at(0)))
    assert notices(driver) == [f"routine off runs late, to what should be now; it was due at {rfc3339(at(0))}"]


# At random

ZONES = ["a", "b", "c", "ab", "bc", "abc"]
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("book"), st.sampled_from(ZONES), st.integers(0, 60), st.integers(5, 60)),
        st.tuples(st.just("change"), st.sampled_from(["a", "bc", "abc"]), st.integers(-30, 60), st.integers(5, 60)),
        st.tuples(st.just("cancel")),
        st.tuples(st.just("wait"), st.integers(1, 40)),
        st.tuples(st.just("away"), st.integers(1, 200)),
        st.tuples(st.just("wall"), st.sampled_from(["a-b", "b-c"]), st.sampled_from(["open", "closed"])),
    ),
    min_size=5,
    max_size=25,
)  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_links_and_requests_are_those_of_the_bookings_that_are_on(steps: list[tuple[Any, ...]]) -> None:
    """Whatever is booked, changed, called off, moved or missed; and nothing is left when all is over."""
    driver = Driver(data(), checked=False, now=at(1000))
    latest = ""
    for n, (what, *more) in enumerate(steps):
        minute = (driver.now - at(0)) / 60.0
        with contextlib.suppress(Refused):
            if what == "book":
                zones, start, length = more
                book(driver, zones, minute + start, minute + start + length, name=f"b{n}", scene="dinner", **AROUND)
                latest = f"b{n}"
            elif what == "change" and latest:
                zones, start, length = more
                change(driver, latest, zones, minute + start, minute + start + length, **AROUND)
            elif what == "cancel" and latest:
                cancel(driver, latest)
            elif what == "wait":
                driver.advance(more[0] * 60.0)
            elif what == "away":
                driver.now += more[0] * 60.0
            elif what == "wall":
                driver.wall(*more)
        driver.wake()
        _as_it_should_be(driver)
    driver.advance(30 * 86400.0)
    assert (booked_links(driver), requests(driver), list(driver.state.in_use)) == (set(), {}, [])
    assert {o.phase for o in driver.state.occurrences.values() if o.acts} <= {"over"}


def _as_it_should_be(driver: Driver) -> None:
    """Worked out anew from the dates, the clock and the groups."""
    state, now = driver.state, driver.now
    live = {k: o for k, o in state.occurrences.items() if o.acts and o.begins <= now < o.over}
    assert dict(state.in_use) == {zone: k for k, o in live.items() for zone in o.zones}
    guests = [o for o in live.values() if now < o.end]
    leads = set()
    for o in guests:
        for group in driver.groups():
            part = [zone for zone in group if zone in o.zones]
            leads |= {(f"{part[0]}-panel", zone) for zone in part}
    assert booked_links(driver) == leads
    asked = {}
    for wall in ("a-b", "b-c"):
        of = [[o for o in guests if zone in o.zones] for zone in wall.split("-")]
        if any(of):
            asked[wall] = "open" if of[0] == of[1] else "closed"
    assert requests(driver) == asked
