"""Calendars that come again and again: what changed, what is off, what clashes, and what stays as it is here."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from roomlink.core.bookings import OneWish
from roomlink.core.commands import Actor, ChangeOccurrence
from roomlink.diary.feeds import follow
from roomlink.diary.intake import Trial
from tests.diary.desk import UPTO, calendar, dates, event, harbour, read, send

UID = "a@example.test"
FEED = {"name": "office", "zones": [], "accept_free": False, "gone": "cancel"}
NY = "DTSTART__TZID=America/New_York"
SERIES = {NY: "19970902T090000", "DTSTART": "", "DTEND": "", "DURATION": "PT1H", "RRULE": "FREQ=WEEKLY;COUNT=3"}


@pytest.fixture
def desk(tmp_path: Path) -> Trial:
    return harbour(tmp_path)


def one(report: object) -> tuple[str, str]:
    line = report.lines[0]  # type: ignore[attr-defined]  # a Report
    return line.outcome, line.why


async def test_a_higher_sequence_changes_the_booking(desk: Trial) -> None:
    """The same UID with a higher SEQUENCE is the same booking, as it is now."""
    await send(desk, calendar(event(SEQUENCE="1")))
    name = desk.state.booking_of_uid[UID]
    report = await send(desk, calendar(event(SEQUENCE="2", DTSTART="19970902T150000Z", DTEND="19970902T160000Z")))
    assert one(report)[0] == "changed"
    assert desk.state.booking_of_uid[UID] == name
    assert dates(desk, UID) == ["19970902T150000Z/19970902T160000Z"]


async def test_a_lower_sequence_is_ignored(desk: Trial) -> None:
    """What is older than what is here changes nothing, and the report says so."""
    await send(desk, calendar(event(SEQUENCE="2")))
    report = await send(desk, calendar(event(SEQUENCE="1", DTSTART="19970902T133000Z")))
    assert one(report) == ("ignored", "SEQUENCE 1 is older than the 2 that is here")
    assert dates(desk, UID) == ["19970902T130000Z/19970902T140000Z"]


async def test_the_same_sequence_with_other_content_counts(desk: Trial) -> None:
    """Many calendars never count up: what they say now is what counts."""
    await send(desk, calendar(event()))
    assert one(await send(desk, calendar(event(LOCATION="Tern"))))[0] == "changed"


@pytest.mark.parametrize("method", ["PUBLISH", "CANCEL"])
async def test_a_cancelled_event_frees_its_zones(desk: Trial, method: str) -> None:
    """By STATUS or by METHOD; and cancelling once more is no news."""
    await send(desk, calendar(event()))
    off = calendar(event(STATUS="CANCELLED" if method == "PUBLISH" else ""), method=method)
    assert one(await send(desk, off))[0] == "cancelled"
    assert desk.state.busy.get("heron") is None
    assert one(await send(desk, off))[0] == "unchanged"


async def test_an_event_that_moves_to_another_house_is_cancelled_here(desk: Trial) -> None:
    """A place that is no room of the venue any more takes the booking away."""
    await send(desk, calendar(event()))
    assert one(await send(desk, calendar(event(LOCATION="Town hall")))) == (
        "cancelled",
        "'Town hall' is no room of this venue",
    )


async def test_an_event_without_a_place_is_for_the_zones_of_the_sender(desk: Trial) -> None:
    """The zones that are said beside the file hold for what says no place, and for nothing else."""
    report = await send(desk, calendar(event(LOCATION=""), event("b@example.test", LOCATION="Mars")), zones=("tern",))
    assert [line.outcome for line in report.lines] == ["taken", "ignored"]
    assert desk.state.bookings[desk.state.booking_of_uid[UID]].zones == ("tern",)


async def test_a_clash_is_named_and_the_rest_is_taken(desk: Trial) -> None:
    """The line of a refused event names the booking that has its zones."""
    report = await send(desk, calendar(event(), event("b@example.test"), event("c@example.test", LOCATION="Tern")))
    assert [line.outcome for line in report.lines] == ["taken", "refused", "taken"]
    (clash,) = report.lines[1].clashes
    assert clash["booking"] == report.lines[0].booking
    assert clash["zones"] == ["heron"]


async def test_events_may_swap_their_places(desk: Trial) -> None:
    """What clashes with an event that moves away in the same file is tried again."""
    await send(desk, calendar(event(), event("b@example.test", LOCATION="Tern")))
    swapped = calendar(
        event(LOCATION="Plover"), event("b@example.test", LOCATION="Heron"), event("c@example.test", LOCATION="Tern")
    )
    report = await send(desk, swapped)
    assert [line.outcome for line in report.lines] == ["changed", "changed", "taken"]


async def test_a_series_is_refused_whole_or_taken_where_it_is_free(desk: Trial) -> None:
    """One date that clashes refuses all of a series, unless the free ones are asked for."""
    await send(desk, calendar(event("b@example.test", DTSTART="19970909T130000Z", DTEND="19970909T140000Z")))
    series = calendar(event(**SERIES))
    assert one(await send(desk, series))[0] == "refused"
    report = await send(desk, series, accept_free=True)
    assert report.lines[0].outcome == "taken"
    assert "1 of its dates are taken" in report.lines[0].why
    assert len(report.lines[0].clashes) == 1
    assert dates(desk, UID) == ["19970902T130000Z/19970902T140000Z", "19970916T130000Z/19970916T140000Z"]


async def test_a_single_date_can_be_sent_alone(desk: Trial) -> None:
    """A RECURRENCE-ID without its series moves, or cancels, that date of what was taken before."""
    await send(desk, calendar(event(**SERIES)))
    moved = event(RECURRENCE_ID="19970909T130000Z", DTSTART="19970910T130000Z", DTEND="19970910T150000Z", SEQUENCE="1")
    assert one(await send(desk, calendar(moved)))[0] == "changed"
    off = event(RECURRENCE_ID="19970916T130000Z", STATUS="CANCELLED", SEQUENCE="1")
    assert one(await send(desk, calendar(off)))[0] == "changed"
    assert dates(desk, UID) == ["19970902T130000Z/19970902T140000Z", "19970910T130000Z/19970910T150000Z"]
    assert one(await send(desk, calendar(moved)))[0] == "unchanged"


async def test_a_single_date_of_an_unknown_event_is_ignored(desk: Trial) -> None:
    """A date alone says too little to book it."""
    report = await send(desk, calendar(event(RECURRENCE_ID="19970909T130000Z")))
    assert one(report) == ("ignored", "the event that it is a date of was never taken here")
    await send(desk, calendar(event(**SERIES)))
    stray = await send(desk, calendar(event(RECURRENCE_ID="19971231T130000Z")))
    assert one(stray) == ("refused", "the booking has no date 19971231T130000Z; send the event whole")


async def test_a_moved_date_that_is_moved_back_is_as_its_series(desk: Trial) -> None:
    """An exception that the calendar drops is one no longer."""
    moved = event(RECURRENCE_ID="19970909T130000Z", DTSTART="19970910T130000Z", DTEND="19970910T150000Z")
    await send(desk, calendar(event(**SERIES), moved))
    assert "19970910T130000Z/19970910T150000Z" in dates(desk, UID)
    assert one(await send(desk, calendar(event(**SERIES))))[0] == "changed"
    assert dates(desk, UID)[1] == "19970909T130000Z/19970909T140000Z"


async def test_what_a_calendar_does_not_say_stays(desk: Trial) -> None:
    """A scene that was put down here for one date outlives the calendar's next version."""
    await send(desk, calendar(event(**SERIES)))
    name = desk.state.booking_of_uid[UID]
    wish = OneWish(scene="dinner", attendance=120)
    await desk.carry_out(ChangeOccurrence(Actor("technician"), name, "19970909T130000Z", wish, ("*",)))
    assert one(await send(desk, calendar(event(**SERIES))))[0] == "unchanged"
    await send(desk, calendar(event(**SERIES, SUMMARY="Now with a title", SEQUENCE="1")))
    date = desk.state.occurrences[name, "19970909T130000Z"]
    assert (date.scene, date.attendance) == ("dinner", 120)


async def test_time_going_on_is_no_change_of_an_endless_series(desk: Trial) -> None:
    """A feed that says the same a month later changes nothing: the diary takes the rule on by itself."""
    endless = calendar(event(**{**SERIES, "RRULE": "FREQ=WEEKLY"}))
    await send(desk, endless)
    before = len(dates(desk, UID))
    desk.now += 30 * 86400.0
    report = await send(desk, endless, upto=UPTO + 30 * 86400.0)
    assert one(report)[0] == "unchanged"
    assert len(dates(desk, UID)) == before


async def test_a_trial_changes_nothing(desk: Trial) -> None:
    """A dry run tells of clashes within the file too, and leaves the diary as it was."""
    report = await send(Trial(desk.state, desk.now), calendar(event(), event("b@example.test")))
    assert [line.outcome for line in report.lines] == ["taken", "refused"]
    assert not list(desk.state.bookings.live())


async def test_a_private_event_is_in_use_in_the_report(desk: Trial) -> None:
    """Reports are read by others: what is private has no title there."""
    report = await send(desk, calendar(event(CLASS="PRIVATE", SUMMARY="A secret wedding")))
    assert "secret" not in str(report.data())
    assert desk.state.bookings[report.lines[0].booking].private
    broken = await send(desk, calendar(event(CLASS="CONFIDENTIAL", SUMMARY="A secret wedding", DTSTART="soon")))
    assert (broken.lines[0].outcome, broken.lines[0].summary) == ("refused", "in use")


# Feeds


async def test_what_a_feed_no_longer_has_is_cancelled(desk: Trial) -> None:
    """Calendars drop what was deleted without a word; what was booked by hand stays."""
    await send(desk, calendar(event("by-hand@example.test", LOCATION="Tern")))
    await follow(read(calendar(event(), event("b@example.test", LOCATION="Plover"))), FEED, desk, UPTO)
    report = await follow(read(calendar(event())), FEED, desk, UPTO)
    assert [(line.uid, line.outcome) for line in report.lines] == [
        ("b@example.test", "cancelled"),
        (UID, "unchanged"),
    ]
    assert desk.state.bookings[desk.state.booking_of_uid["by-hand@example.test"]].status == "confirmed"


async def test_an_event_that_cannot_be_read_any_more_stays_booked(desk: Trial) -> None:
    """A broken event is still in the calendar: nothing that was taken is lost for it."""
    await follow(read(calendar(event(), event("b@example.test", LOCATION="Plover"))), FEED, desk, UPTO)
    broken = calendar(event(DTSTART="soon"), event("b@example.test", LOCATION="Plover"))
    report = await follow(read(broken), FEED, desk, UPTO)
    assert [line.outcome for line in report.lines] == ["refused", "unchanged"]
    assert dates(desk, UID) == ["19970902T130000Z/19970902T140000Z"]


@pytest.mark.parametrize("config", [FEED, {**FEED, "gone": "keep"}])
async def test_an_empty_or_broken_feed_cancels_nothing(desk: Trial, config: dict[str, object]) -> None:
    """More likely than an empty diary is a broken export."""
    await follow(read(calendar(event())), config, desk, UPTO)
    await follow(read(calendar()), config, desk, UPTO)
    assert (await follow(read("BEGIN:VCALENDAR\n"), config, desk, UPTO)).fault
    assert dates(desk, UID) == ["19970902T130000Z/19970902T140000Z"]


async def test_what_is_over_is_left_alone(desk: Trial) -> None:
    """A feed that only has what is to come takes nothing of the past away."""
    await follow(read(calendar(event(), event("b@example.test", LOCATION="Tern"))), FEED, desk, UPTO)
    name = desk.state.booking_of_uid[UID]
    date = desk.state.occurrences[name, "19970902T130000Z"]
    desk.state.occurrences[name, "19970902T130000Z"] = replace(date, phase="over")
    report = await follow(read(calendar(event("b@example.test", LOCATION="Tern"))), FEED, desk, UPTO)
    assert [line.uid for line in report.lines] == ["b@example.test"]


async def test_a_feed_changes_only_what_came_from_it(desk: Trial) -> None:
    """A UID that was booked by hand, or came from another calendar, is not a feed's to change."""
    await send(desk, calendar(event()))
    report = await follow(read(calendar(event(LOCATION="Tern"))), FEED, desk, UPTO)
    assert one(report) == ("ignored", "it was taken from import")
