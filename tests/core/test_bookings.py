"""Bookings: nothing is booked twice, and every refusal says what stands in the way and what is free instead."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roomlink import limits
from roomlink.core import diary_view, discretion
from roomlink.core.bookings import Booking, OneWish, Wish, key_of, start_of
from roomlink.core.commands import (
    CancelBooking,
    ChangeBooking,
    ChangeOccurrence,
    Configure,
    CreateBooking,
    ExtendBooking,
    ForgetBookings,
    JoinZones,
)
from roomlink.core.decide import describe
from roomlink.core.events import Noticed
from roomlink.core.instants import rfc3339
from roomlink.errors import BadValue, Precondition, Refused, UnknownName
from roomlink.testing.driver import PLAIN, Driver
from tests.core.booked import at, book, cancel, change, change_one, data, hall, key, overlaps, phases, taken, wish


@pytest.fixture
def driver() -> Driver:
    return hall()


def clash(driver: Driver, zones: str, start: float, end: float, **more: Any) -> dict[str, Any]:
    with pytest.raises(Refused) as refused:
        book(driver, zones, start, end, **more)
    assert refused.value.kind == "clash"
    return refused.value.members


# Times and zones


def test_a_booking_has_its_zones_with_set_up_and_clear_down(driver: Driver) -> None:
    """The index holds the time from the beginning of set-up to the end of clear-down."""
    reply = book(driver, "ba", 60, 120, name="gala", set_up=600.0, clear_down=300.0).reply
    assert (reply["booking"], reply["zones"], reply["dates"], reply["refused"]) == ("gala", ["a", "b"], 1, [])
    for zone in "ab":
        assert [span[:3] for span in driver.state.busy[zone]] == [(at(50), at(125), "gala")]
    assert "c" not in driver.state.busy


def test_the_venues_set_up_and_clear_down_count_where_none_are_given() -> None:
    """And only there."""
    driver = hall(bookings={"set_up": 1800.0, "clear_down": 900.0})
    book(driver, "a", 60, 120, name="usual")
    book(driver, "b", 60, 120, name="own", set_up=0.0, clear_down=0.0)
    assert taken(driver.state, "a") == [(at(30), at(135))]
    assert taken(driver.state, "b") == [(at(60), at(120))]


def test_bookings_that_touch_do_not_clash(driver: Driver) -> None:
    """Times are half-open, as those of ``pandas.Interval`` closed on the left."""
    book(driver, "a", 60, 120)
    book(driver, "a", 120, 180)
    book(driver, "a", 0, 60)
    assert overlaps(driver.state) == []


def test_an_overlap_in_one_zone_is_refused_and_names_the_clash(driver: Driver) -> None:
    """Which booking has which zone, and when."""
    book(driver, "ab", 60, 120, name="gala", set_up=600.0)
    members = clash(driver, "bc", 110, 150)
    assert [(c["booking"], c["occurrence"], c["zones"]) for c in members["clashes"]] == [("gala", key(60), ["b"])]
    assert (members["clashes"][0]["from"], members["clashes"][0]["until"]) == (rfc3339(at(50)), rfc3339(at(120)))
    assert members["clashes"][0]["wanted"] == {"start": rfc3339(at(110)), "end": rfc3339(at(150))}


def test_set_up_clashes_like_the_booking_itself(driver: Driver) -> None:
    """Nobody sets up a room in which others still sit."""
    book(driver, "a", 60, 120)
    clash(driver, "a", 130, 150, set_up=11 * 60.0)
    book(driver, "a", 130, 150, set_up=10 * 60.0)


def test_every_clash_is_named(driver: Driver) -> None:
    """Not only the first."""
    for n, zone in enumerate("abc"):
        book(driver, zone, 60 + n, 120, name=f"of-{zone}")
    assert [c["booking"] for c in clash(driver, "abc", 100, 200)["clashes"]] == ["of-a", "of-b", "of-c"]


def test_a_private_booking_is_named_without_its_title(driver: Driver) -> None:
    """A clash tells nothing that a reader may not see."""
    book(driver, "a", 60, 120, title="Merger", private=True)
    told = clash(driver, "a", 60, 120)
    assert told["clashes"][0]["title"] == discretion.HIDDEN
    assert "Merger" not in repr(told)


def test_cancelled_and_transparent_bookings_take_no_time(driver: Driver) -> None:
    """TRANSP of RFC 5545 §3.8.2.7."""
    book(driver, "a", 60, 120, name="gone")
    cancel(driver, "gone")
    book(driver, "a", 60, 120, transparent=True)
    book(driver, "a", 60, 120)
    clash(driver, "a", 60, 120)


def test_a_tentative_booking_holds_its_zones(driver: Driver) -> None:
    """Until somebody says otherwise."""
    book(driver, "a", 60, 120, status="tentative")
    clash(driver, "a", 60, 120)


# What is free instead


def test_other_zones_that_hold_as_many_are_offered_first(driver: Driver) -> None:
    """Then the nearest times, in steps of a quarter of an hour."""
    book(driver, "a", 60, 120)
    offered = clash(driver, "a", 60, 120, attendance=90)["alternatives"]
    assert [(o["why"], o["zones"], o["start"]) for o in offered] == [
        ("other zones", ["c"], rfc3339(at(60))),
        ("later", ["a"], rfc3339(at(120))),
        ("earlier", ["a"], rfc3339(at(0))),
    ]


def test_what_is_offered_lies_apart(driver: Driver) -> None:
    """Three times that are the same but for a quarter of an hour would be one way out."""
    for zone in "abc":
        book(driver, zone, 0, 120)
    offered = clash(driver, "a", 30, 90)["alternatives"]
    assert [(o["why"], o["start"]) for o in offered] == [("later", rfc3339(at(n))) for n in (120, 180, 240)]


def test_what_is_offered_is_free(driver: Driver) -> None:
    """Each can be booked as it stands; nothing lies in the past."""
    for start in range(0, 300, 60):
        book(driver, "a", start, start + 45)
    for offer in clash(driver, "a", 0, 60)["alternatives"]:
        start = start_of(offer["start"].replace("-", "").replace(":", "").replace(".000", ""))
        assert start >= driver.now
        trial = hall()
        trial.state = driver.state.copy()
        trial.replayed, trial.now = trial.state.copy(), driver.now
        trial.do(CreateBooking(PLAIN, "x", Wish("x", "x", start, start + 3600.0, tuple(offer["zones"]))))


# People


def test_more_people_than_posted_are_refused(driver: Driver) -> None:
    """The number on the sign of exactly these zones counts; larger rooms are offered."""
    with pytest.raises(Refused) as refused:
        book(driver, "a", 60, 120, attendance=101)
    assert refused.value.kind == "over-posted"
    assert refused.value.members["posted"] == 100
    assert [o["zones"] for o in refused.value.members["alternatives"]] == [["b"]]
    book(driver, "a", 60, 120, attendance=100)


def test_the_posted_number_is_never_added_up(driver: Driver) -> None:
    """a and b hold 230 together, though their own signs say 220; b and c have no sign."""
    book(driver, "ab", 60, 120, attendance=230)
    reply = book(driver, "bc", 130, 150, attendance=5000).reply
    assert reply["warnings"] == ["no number of people is posted for b + c: ask the authority"]


def test_zones_that_no_path_of_walls_joins_are_told_with_the_booking(driver: Driver) -> None:
    """Only those between them count; it is booked all the same, also one date of it."""
    sentence = "A and C can never be one room: no path of walls joins them"
    assert sentence in book(driver, "ac", 60, 120, name="split").reply["warnings"]
    assert driver.state.bookings["split"].zones == ("a", "c")
    assert book(driver, "abc", 130, 150, name="whole").reply["warnings"] == [
        "no number of people is posted for a + b + c: ask the authority"
    ]
    one = change_one(driver, "whole", key(130), zones=("c", "a"))
    assert sentence in one.reply["warnings"]
    driver.do(JoinZones(PLAIN, "both", ("a", "c")))
    assert sentence not in book(driver, "ac", 160, 170).reply["warnings"]


def test_zones_with_an_overflow_between_them_may_be_booked_without_a_word() -> None:
    """Who books both means the one to follow the other."""
    driver = hall(overflows={"late": {"name": "Late", "from": "a", "to": "c", "carries": ["sound"]}})
    warnings = book(driver, "ac", 60, 120).reply["warnings"]
    assert warnings == ["no number of people is posted for a + c: ask the authority"]


def test_zones_are_chosen_by_the_people_that_need_to_fit(driver: Driver) -> None:
    """The smallest posted number that suffices, then the fewest walls, then venue order; what is taken is left out."""
    assert book(driver, "", 60, 120, capacity=90).reply["zones"] == ["a"]
    assert book(driver, "", 60, 120, capacity=90).reply["zones"] == ["c"]
    assert book(driver, "", 60, 120, capacity=90).reply["zones"] == ["b"]
    assert book(driver, "", 120, 180, capacity=121).reply["zones"] == ["a", "b"]
    assert clash(driver, "", 60, 120, capacity=90)["clashes"]
    with pytest.raises(Refused, match="no arrangement is posted for 231 people; 230 is the most"):
        book(driver, "", 60, 120, capacity=231)


# Series


def test_a_series_is_booked_whole_or_not_at_all(driver: Driver) -> None:
    """One clash refuses all; each is told."""
    book(driver, "a", 1560, 1600, name="in-the-way")
    before = dict(driver.state.occurrences)
    told = clash(driver, "a", 60, 180, every=1440, dates=5)
    assert [c["wanted"]["start"] for c in told["clashes"]] == [rfc3339(at(1500))]
    assert driver.state.occurrences == before


def test_a_series_may_take_what_is_free(driver: Driver) -> None:
    """The dates that are taken are listed, and left out for good."""
    book(driver, "a", 1560, 1600)
    reply = book(driver, "a", 60, 180, every=1440, dates=5, name="daily", accept_free=True, rrule="FREQ=DAILY").reply
    assert reply["dates"] == 4
    assert [r["wanted"]["start"] for r in reply["refused"]] == [rfc3339(at(1500))]
    assert driver.state.bookings["daily"].exdates == (key(1500),)


def test_a_series_that_finds_nothing_free_is_refused(driver: Driver) -> None:
    """An empty booking helps nobody."""
    book(driver, "a", 60, 120)
    clash(driver, "a", 60, 120, accept_free=True)


def test_the_dates_of_a_series_do_not_overlap_one_another(driver: Driver) -> None:
    """A daily booking of 25 hours clashes with itself."""
    told = clash(driver, "a", 60, 60 + 1500, every=1440, dates=3, name="long")
    assert {c["booking"] for c in told["clashes"]} == {"long"}


def test_one_date_can_be_moved_and_put_back(driver: Driver) -> None:
    """Its key stays; the others stay where they are."""
    book(driver, "a", 60, 120, every=1440, dates=3, name="daily")
    reply = change_one(driver, "daily", key(1500), start=at(1600), zones=("b",)).reply
    moved = driver.state.occurrences["daily", key(1500)]
    assert (moved.start, moved.end, moved.zones, moved.changed) == (at(1600), at(1660), ("b",), True)
    assert (reply["occurrence"], reply["etag"]) == (key(1500), "2")
    assert taken(driver.state, "a") == [(at(60), at(120)), (at(2940), at(3000))]
    change_one(driver, "daily", key(1500), back=True)
    assert len(taken(driver.state, "a")) == 3


def test_one_date_is_checked_like_any_booking(driver: Driver) -> None:
    """Against others, against its own series and against the posted number."""
    book(driver, "a", 60, 120, every=1440, dates=3, name="daily")
    book(driver, "b", 60, 120, name="other")
    for members in ({"zones": ("b",)}, {"start": at(1500)}):
        with pytest.raises(Refused) as refused:
            change_one(driver, "daily", key(60), **members)
        assert refused.value.kind == "clash"
    with pytest.raises(Refused) as refused:
        change_one(driver, "daily", key(60), attendance=101)
    assert refused.value.kind == "over-posted"
    for members in ({"status": "perhaps"}, {"attendance": 0}, {"end": at(30)}, {"title": "x" * 201}):
        with pytest.raises(BadValue):
            change_one(driver, "daily", key(60), **members)
    with pytest.raises(UnknownName):
        change_one(driver, "daily", key(61), title="x")


def test_one_date_can_be_cancelled(driver: Driver) -> None:
    """Its zones are free then."""
    book(driver, "a", 60, 120, every=1440, dates=2, name="daily")
    change_one(driver, "daily", key(60), status="cancelled")
    book(driver, "a", 60, 120)


def test_changing_a_series_keeps_the_dates_that_were_changed_by_themselves(driver: Driver) -> None:
    """Unless the series no longer has them, or they are given anew."""
    book(driver, "a", 60, 120, every=1440, dates=3, name="daily")
    change_one(driver, "daily", key(1500), start=at(1600))
    change(driver, "daily", "ab", 60, 90, every=1440, dates=3)
    assert [
        (o.start, o.zones) for o in map(driver.state.occurrences.get, [("daily", key(1500)), ("daily", key(60))])
    ] == [
        (at(1600), ("a",)),
        (at(60), ("a", "b")),
    ]
    change(driver, "daily", "ab", 60, 90, every=1440, dates=3, ones=((key(2940), OneWish(zones=("c",))),))
    assert [o.zones for o in driver.state.occurrences.values()] == [("a", "b"), ("a", "b"), ("c",)]
    assert [o.start for o in driver.state.occurrences.values()] == [at(60), at(1500), at(2940)]


def test_a_series_is_extended_as_time_goes_on(driver: Driver) -> None:
    """Dates that are taken meanwhile are left out, with a notice; the entity tag stays."""
    book(driver, "a", 60, 120, every=1440, dates=2, name="daily", rrule="FREQ=DAILY", upto=at(2000))
    book(driver, "a", 2950, 2960, name="meanwhile")
    starts = tuple(at(60 + n * 1440) for n in range(4))
    driver.do(ExtendBooking(PLAIN, "daily", starts, at(5000)))
    assert driver.state.dates["daily"] == (key(60), key(1500), key(4380))
    booking = driver.state.bookings["daily"]
    assert (booking.upto, booking.exdates, booking.revision) == (at(5000), (key(2940),), 1)
    notices = [event.text for event in driver.events if isinstance(event, Noticed)]
    assert notices == [f"booking daily leaves out {key(2940)}: booking meanwhile has a"]


def test_extending_changes_nothing_within_what_was_expanded_before(driver: Driver) -> None:
    """A date that was forgotten or dropped does not come back."""
    book(driver, "a", 60, 120, name="daily", rrule="FREQ=DAILY", upto=at(5000))
    driver.do(ExtendBooking(PLAIN, "daily", (at(60), at(1500)), at(5000)))
    assert driver.state.dates["daily"] == (key(60),)
    cancel(driver, "daily")
    assert driver.do(ExtendBooking(PLAIN, "daily", (at(6000),), None)).events == ()


# Changing


def test_a_change_needs_the_version_that_was_seen(driver: Driver) -> None:
    """428 without a condition, 412 with one that does not hold (RFC 6585, RFC 9110 §13.1.1)."""
    etag = book(driver, "a", 60, 120, name="gala").reply["etag"]
    new = wish("a", 60, 180)
    commands = [
        lambda tags: ChangeBooking(PLAIN, "gala", new, tags),
        lambda tags: CancelBooking(PLAIN, "gala", tags),
        lambda tags: ChangeOccurrence(PLAIN, "gala", key(60), OneWish(title="x"), tags),
    ]
    for command in commands:
        for tags, status in ((None, 428), (("other",), 412)):
            with pytest.raises(Precondition) as refused:
                driver.do(command(tags))
            assert refused.value.status == status
    assert driver.do(ChangeBooking(PLAIN, "gala", new, (etag,))).reply["etag"] == "2"
    with pytest.raises(Precondition):
        driver.do(ChangeBooking(PLAIN, "gala", new, (etag,)))


def test_a_booking_may_be_changed_into_time_of_its_own(driver: Driver) -> None:
    """It does not clash with what it was."""
    book(driver, "a", 60, 120, name="gala")
    change(driver, "gala", "a", 90, 150)
    assert taken(driver.state, "a") == [(at(90), at(150))]
    assert driver.state.dates["gala"] == (key(90),)


def test_a_refused_change_leaves_the_booking_as_it_is(driver: Driver) -> None:
    """Its time is not free in between."""
    book(driver, "a", 60, 120, name="gala")
    book(driver, "a", 150, 180)
    with pytest.raises(Refused):
        change(driver, "gala", "a", 130, 160)
    assert taken(driver.state, "a") == [(at(60), at(120)), (at(150), at(180))]


def test_a_change_to_the_same_is_no_event(driver: Driver) -> None:
    """And no new version."""
    book(driver, "a", 60, 120, name="gala")
    decision = change(driver, "gala", "a", 60, 120)
    assert decision.events == ()
    assert decision.reply["etag"] == "1"


def test_a_cancelled_booking_stays_to_be_seen_and_can_be_revived(driver: Driver) -> None:
    """Cancelling twice succeeds."""
    book(driver, "a", 60, 120, name="gala")
    cancel(driver, "gala")
    assert driver.state.bookings["gala"].status == "cancelled"
    assert driver.do(CancelBooking(PLAIN, "gala")).events == ()
    change(driver, "gala", "a", 60, 120)
    clash(driver, "a", 60, 120)


def test_no_date_of_a_cancelled_booking_comes_back_alone(driver: Driver) -> None:
    """The whole booking has to be made again."""
    book(driver, "a", 60, 120, every=1440, dates=2, name="daily")
    cancel(driver, "daily")
    with pytest.raises(Refused) as refused:
        change_one(driver, "daily", key(60), status="confirmed")
    assert refused.value.kind == "is-cancelled"


def test_a_name_or_uid_is_used_once(driver: Driver) -> None:
    """The second is told which booking has it."""
    book(driver, "a", 60, 120, name="gala", uid="x@y")
    with pytest.raises(Refused) as refused:
        book(driver, "b", 60, 120, uid="x@y")
    assert (refused.value.kind, refused.value.members["booking"]) == ("exists", "gala")
    assert driver.state.booking_of_uid["x@y"] == "gala"


@pytest.mark.parametrize(
    ("field", "members"),
    [
        ("end", {"end": at(60)}),
        ("end", {"end": at(60) + limits.BOOKING_S_MAX + 1}),
        ("start", {"start": -1.0}),
        ("start", {"start": 2.3e11, "end": 2.3e11 + 60.0}),
        ("title", {"title": " "}),
        ("title", {"title": "x" * 201}),
        ("organiser", {"organiser": "x" * 201}),
        ("uid", {"uid": ""}),
        ("zones", {"zones": ()}),
        ("zone", {"zones": ("z",)}),
        ("attendance", {"attendance": 0}),
        ("capacity", {"capacity": 0, "zones": ()}),
        ("status", {"status": "cancelled"}),
        ("scene", {"scene": "nowhere"}),
        ("scene", {"scene": "stage"}),
        ("set_up", {"set_up": -1.0}),
        ("clear_down", {"clear_down": float("nan")}),
        ("rrule", {"starts": tuple(at(60 + n) for n in range(limits.OCCURRENCES_OF_ONE_MAX + 1))}),
    ],
)
def test_what_cannot_be_booked_is_refused_with_the_field(driver: Driver, field: str, members: dict[str, Any]) -> None:
    """And with what would be right."""
    one = {"uid": "u", "title": "Gala", "start": at(60), "end": at(120), "zones": ("a",), **members}
    with pytest.raises((BadValue, UnknownName)) as refused:
        driver.do(CreateBooking(PLAIN, "x", Wish(**one)))
    assert refused.value.members["field"] == field


def test_an_unknown_booking_is_told(driver: Driver) -> None:
    """Every command that names one says so."""
    for act in (lambda: cancel(driver, "x"), lambda: change(driver, "x", "a", 60, 120)):
        with pytest.raises(UnknownName, match="no booking named 'x'"):
            act()


def test_the_diary_has_an_end(driver: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """A flood of bookings cannot fill the memory."""
    monkeypatch.setattr(limits, "OCCURRENCES_MAX", 2)
    book(driver, "a", 60, 120, every=1440, dates=2)
    with pytest.raises(Refused) as refused:
        book(driver, "b", 60, 120)
    assert refused.value.kind == "too-many"


# What is kept


def test_what_was_over_long_ago_is_forgotten(driver: Driver) -> None:
    """A series that goes on keeps its dates to come."""
    book(driver, "a", 60, 120, name="once")
    book(driver, "b", 60, 120, every=1440, dates=3, name="daily", rrule="FREQ=DAILY", upto=at(4000))
    driver.advance(1600 * 60.0)
    driver.do(ForgetBookings(PLAIN, at(1000)))
    assert list(driver.state.bookings) == ["daily"]
    assert driver.state.dates["daily"] == (key(1500), key(2940))
    assert taken(driver.state, "a") == []
    assert "u@once" not in driver.state.booking_of_uid


def test_what_is_over_of_a_series_stays_as_it_was(driver: Driver) -> None:
    """A change is for what is to come."""
    book(driver, "a", 60, 120, every=1440, dates=3, name="daily")
    driver.advance(1000 * 60.0)
    change(driver, "daily", "b", 60, 120, every=1440, dates=3)
    assert [o.zones for o in driver.state.occurrences.values()] == [("a",), ("b",), ("b",)]
    with pytest.raises(Refused) as refused:
        change_one(driver, "daily", key(60), title="x")
    assert refused.value.kind == "is-over"


def test_a_booking_in_the_past_is_over_at_once(driver: Driver) -> None:
    """Nothing is done for it, and nothing has to be."""
    driver.advance(1000 * 60.0)
    book(driver, "a", 60, 120, name="gone", scene="dinner")
    assert phases(driver, "gone") == ["over"]
    assert driver.value("a", "volume") == -30.0


def test_zones_that_are_no_longer_configured_are_taken_off(driver: Driver) -> None:
    """A booking without any is cancelled; both are noticed."""
    book(driver, "bc", 60, 120, name="two")
    book(driver, "c", 160, 180, name="one")
    small = data()
    for part in ("zones", "controllers"):
        del small[part]["c" if part == "zones" else "c-panel"]
    del small["partitions"]["b-c"]
    small["combining"]["lead_order"] = ["a-panel", "b-panel"]
    small["occupancy"] = small["occupancy"][:2]
    driver.do(Configure(PLAIN, small, "small"))
    assert driver.state.occurrences["two", key(60)].zones == ("b",)
    assert driver.state.occurrences["one", key(160)].status == "cancelled"
    assert sum("no longer configured" in e.text for e in driver.events if isinstance(e, Noticed)) == 4


# Discretion


def test_a_private_booking_is_hidden_from_every_reader(driver: Driver) -> None:
    """Title, organiser and people; not that the zones are in use."""
    book(driver, "a", 60, 120, name="deal", title="Merger", organiser="Kim", attendance=7, private=True)
    change_one(driver, "deal", key(60), title="Merger again")
    seen = diary_view.booking(driver.state, "deal")
    assert (seen["title"], seen["organiser"], seen["attendance"]) == ("in use", "", None)
    told = [discretion.told(driver.state, event) for event in driver.events]
    assert "Merger" not in repr((seen, told))
    assert "Kim" not in repr((seen, told))


def test_a_command_in_short_does_not_tell_what_is_booked() -> None:
    """The journal's line about it is for everybody."""
    said = describe(CreateBooking(PLAIN, "deal", wish("a", 60, 120, title="Merger")))
    assert said == {"command": "CreateBooking", "booking": "deal"}


def test_a_key_is_the_utc_time_and_back() -> None:
    """RFC 5545's form with a Z."""
    assert key_of(1_777_664_520.0) == "20260501T194200Z"
    assert start_of("20260501T194200Z") == 1_777_664_520.0


def test_a_booking_recurs_by_a_rule_or_by_dates() -> None:
    """What is once is once."""
    once = Booking("u", "t", ("a",), 0.0, 60.0)
    assert not once.recurs
    assert Booking("u", "t", ("a",), 0.0, 60.0, rrule="FREQ=DAILY").recurs
    assert Booking("u", "t", ("a",), 0.0, 60.0, rdates=("19700102T000000Z",)).recurs


# At random

ORDERS = st.lists(
    st.tuples(
        st.sets(st.sampled_from("abc"), min_size=1).map(sorted).map("".join),
        st.integers(0, 600),
        st.integers(1, 120),
        st.sampled_from([0.0, 600.0, 1800.0]),
        st.integers(1, 3),
        st.sampled_from(["book", "book", "book", "cancel", "change", "one"]),
    ),
    min_size=20,
    max_size=40,
)


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ORDERS)
def test_nothing_is_ever_booked_twice(orders: list[tuple[str, int, int, float, int, str]]) -> None:
    """Hundreds of bookings at random: no pair overlaps, and each refusal names a booking that truly stands there."""
    driver = Driver(data(), checked=False)
    for n, (zones, start, length, around, dates, what) in enumerate(orders):
        name = f"b{n // 3}" if what != "book" else f"b{n}"
        times = {"set_up": around, "clear_down": around, "every": 150, "dates": dates}
        try:
            if what == "book":
                book(driver, zones, start, start + length, name=name, **times)
            elif name in driver.state.bookings and what == "cancel":
                cancel(driver, name)
            elif name in driver.state.bookings and what == "change":
                change(driver, name, zones, start, start + length, **times)
            elif name in driver.state.bookings and driver.state.bookings[name].status != "cancelled":
                change_one(driver, name, driver.state.dates[name][0], start=at(start), end=at(start + length))
        except Refused as error:
            refused = error
        else:
            refused = None
        if refused is not None:
            assert refused.kind == "clash"
            assert refused.members["clashes"]
            own = driver.state.bookings[name].set_up if what == "one" else around
            assert all(_truly(driver, name, own, told) for told in refused.members["clashes"])
        assert overlaps(driver.state) == []


def _truly(driver: Driver, name: str, around: float, told: dict[str, Any]) -> bool:
    """Whether what a clash names has these zones at the time that was wanted; or is of the same booking."""
    if told["booking"] == name:
        return True
    other = driver.state.occurrences[told["booking"], told["occurrence"]]
    start, end = (datetime.fromisoformat(told["wanted"][of]).timestamp() for of in ("start", "end"))
    meets = other.begins < end + around and start - around < other.over
    return other.counts and meets and {*told["zones"]} <= {*other.zones}
