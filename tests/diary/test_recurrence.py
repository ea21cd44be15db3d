"""Recurrence: rules are proved sound, counted in local time, and given as instants."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink import limits
from roomlink.core.bookings import key_of
from roomlink.diary import recurrence
from roomlink.diary.recurrence import expand, instant, local, parse, read_dates, read_time
from roomlink.errors import BadValue

HALIFAX = "America/Halifax"
START = datetime(2026, 3, 2, 22, 0, tzinfo=UTC).timestamp()
"""A Monday, 18:00 in Halifax; the clocks go forward on the 8th."""
DAY = 86400.0


def dates(rule: str | None, *, days: float = 30.0, start: float = START, **more: object) -> list[str]:
    """The starts within so many days, as keys."""
    found = expand(start, HALIFAX, rule and parse(rule, HALIFAX), upto=start + days * DAY, **more)
    return [key_of(at) for at in found.starts]


def test_without_a_rule_there_is_one_date() -> None:
    """And no more will ever come."""
    found = expand(START, HALIFAX, None, upto=START)
    assert (found.starts, found.upto) == ((START,), None)


def test_a_weekly_booking_keeps_its_local_time_when_the_clocks_change() -> None:
    """18:00 is 22:00 UTC in winter and 21:00 UTC in summer."""
    assert dates("FREQ=WEEKLY;COUNT=3") == ["20260302T220000Z", "20260309T210000Z", "20260316T210000Z"]


def test_a_rule_without_end_is_expanded_up_to_the_horizon() -> None:
    """How far is said, so that it can go on from there."""
    found = expand(START, HALIFAX, parse("FREQ=DAILY", HALIFAX), upto=START + 10 * DAY)
    assert (len(found.starts), found.upto) == (11, START + 10 * DAY)


def test_what_comes_after_an_earlier_horizon_is_the_rest() -> None:
    """Together they are what one expansion would give."""
    rule = parse("FREQ=DAILY;COUNT=40", HALIFAX)
    first = expand(START, HALIFAX, rule, upto=START + 20 * DAY)
    assert first.upto is not None
    rest = expand(START, HALIFAX, rule, upto=START + 90 * DAY, after=first.upto)
    assert first.starts + rest.starts == expand(START, HALIFAX, rule, upto=START + 90 * DAY).starts
    assert rest.upto is None


def test_dates_are_added_and_left_out() -> None:
    """Named by the time at which they would start; leaving out what is not there is no mistake."""
    added = read_dates("rdates", ["2026-03-04T18:00"], HALIFAX)
    gone = read_dates("exdates", ["20260309T210000Z", "2026-05-05T12:00Z"], HALIFAX)
    assert dates("FREQ=WEEKLY;COUNT=3", rdates=added, exdates=gone) == [
        "20260302T220000Z",
        "20260304T220000Z",
        "20260316T210000Z",
    ]


def test_a_booking_without_any_date_is_refused() -> None:
    """Leaving out the only one is a mistake."""
    with pytest.raises(BadValue, match="every date is left out"):
        dates(None, exdates=[key_of(START)])


def test_the_first_date_counts_even_if_the_rule_would_not_give_it() -> None:
    """DTSTART is the first of COUNT (RFC 5545 §3.8.5.3)."""
    assert dates("FREQ=WEEKLY;BYDAY=WE;COUNT=3") == ["20260302T220000Z", "20260304T220000Z", "20260311T210000Z"]


@pytest.mark.parametrize(
    ("until", "last"),
    [
        ("20260309T210000Z", "20260309T210000Z"),
        ("20260309T205959Z", "20260302T220000Z"),
        ("20260309T180000", "20260309T210000Z"),
        ("20260309", "20260309T210000Z"),
        ("20260308", "20260302T220000Z"),
    ],
)
def test_until_is_included(until: str, last: str) -> None:
    """In UTC, or as some calendars write it: in local time, or a date up to its end."""
    assert dates(f"FREQ=WEEKLY;UNTIL={until}")[-1] == last


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("", "is not one NAME=VALUE"),
        ("WEEKLY", "is not one NAME=VALUE"),
        ("FREQ=WEEKLY;FREQ=DAILY", "is not one NAME=VALUE"),
        ("COUNT=3", "FREQ=\\? is not one of YEARLY"),
        ("FREQ=MINUTELY;COUNT=3", "FREQ=MINUTELY is not one of"),
        ("FREQ=WEEKLY;BYWEEKNO=3", "BYWEEKNO does not go with FREQ=WEEKLY"),
        ("FREQ=DAILY;BYSECOND=3", "BYSECOND does not go with"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20260309", "COUNT or UNTIL, not both"),
        ("FREQ=DAILY;COUNT=0", "COUNT=0 is not a whole number from 1"),
        ("FREQ=DAILY;INTERVAL=99999", "INTERVAL=99999 is not a whole number"),
        ("FREQ=DAILY;UNTIL=tomorrow", "UNTIL=TOMORROW is no UTC time"),
        ("FREQ=DAILY;UNTIL=20261340T000000Z", "is no UTC time"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "BYMONTHDAY=32 is not a number from 1 to 31"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY=0 is not a number"),
        ("FREQ=YEARLY;BYMONTH=13", "BYMONTH=13 is not a number"),
        ("FREQ=DAILY;BYHOUR=24", "BYHOUR=24 is not a number"),
        ("FREQ=WEEKLY;BYDAY=1MO", "BYDAY=1MO is not one of MO"),
        ("FREQ=MONTHLY;BYDAY=6MO", "BYDAY=6MO is not one of MO.*up to 5"),
        ("FREQ=WEEKLY;BYDAY=XX", "BYDAY=XX is not one of MO"),
        ("FREQ=WEEKLY;WKST=XX", "is no rule by RFC 5545"),
        ("FREQ=DAILY;BYMONTH=2,4;BYMONTHDAY=31", "no month 2,4 has a day 31"),
        ("FREQ=MONTHLY;BYSETPOS=1", "add one"),
        ("FREQ=DAILY;" + "X" * 500, "at most 500 characters"),
    ],
)
def test_a_rule_that_is_not_sound_is_told(rule: str, says: str) -> None:
    """With what would be right; the field is ``rrule``."""
    with pytest.raises(BadValue, match=says) as refused:
        parse(rule, HALIFAX)
    assert refused.value.members["field"] == "rrule"


def test_a_rule_is_taken_in_small_letters_and_with_its_name() -> None:
    """As people paste it."""
    assert parse(" rrule:freq=daily;count=2 ", HALIFAX).text == "FREQ=DAILY;COUNT=2"


def test_a_booking_that_recurs_too_often_is_refused() -> None:
    """Every hour for over a year is no booking."""
    with pytest.raises(BadValue, match=f"recurs more than {limits.OCCURRENCES_OF_ONE_MAX} times"):
        dates("FREQ=HOURLY", days=400.0)


@pytest.mark.parametrize("rule", ["FREQ=DAILY;INTERVAL=7;BYDAY=TU", "FREQ=YEARLY;BYWEEKNO=53;BYMONTH=6"])
def test_a_rule_that_never_comes_true_ends(rule: str) -> None:
    """It gives the first date alone, in bounded time."""
    started = time.process_time()
    assert dates(rule) == ["20260302T220000Z"]
    assert time.process_time() - started < 10.0


def test_by_the_hour_an_instant_is_given_once() -> None:
    """Where the clocks go forward two local times are one instant; where they go back an hour comes once."""
    march = datetime(2026, 3, 8, 4, 0, tzinfo=UTC).timestamp()
    assert dates("FREQ=HOURLY;COUNT=5", start=march) == [f"20260308T0{hour}0000Z" for hour in (4, 5, 6, 7, 8)]


def test_a_first_date_in_the_second_of_two_equal_hours_stays_there() -> None:
    """Only what the rule adds is read as the first of the two."""
    second = datetime(2026, 11, 1, 5, 30, tzinfo=UTC).timestamp()
    assert dates("FREQ=DAILY;COUNT=2", start=second) == ["20261101T053000Z", "20261102T053000Z"]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("2026-07-01T19:30", "20260701T223000Z"),
        ("2026-01-01T19:30", "20260101T233000Z"),
        ("2026-07-01T19:30:00Z", "20260701T193000Z"),
        ("2026-07-01T19:30:00+02:00", "20260701T173000Z"),
        ("2026-03-08T02:30", "20260308T063000Z"),
        ("2026-11-01T01:30", "20261101T043000Z"),
    ],
)
def test_times_are_read_in_the_venues_zone_unless_they_say_otherwise(text: str, key: str) -> None:
    """In the hour that is skipped, and in the one that comes twice, as RFC 5545 §3.3.5 says."""
    assert key_of(read_time("start", text, HALIFAX)) == key


@pytest.mark.parametrize("text", ["", "soon", "2026-13-01T00:00", "0001-01-01T00:00+14:00"])
def test_what_is_no_time_is_told(text: str) -> None:
    """With two ways to write it."""
    with pytest.raises(BadValue, match="is no time such as"):
        read_time("start", text, HALIFAX)


@given(st.integers(160_000_000, 4_100_000_000), st.sampled_from([HALIFAX, "Australia/Lord_Howe", "UTC"]))
def test_an_instant_comes_back_as_its_local_time_unless_that_does_not_exist(seconds: int, zone: str) -> None:
    """In a gap it comes back later by as much as the clocks went forward."""
    when = local(float(seconds), ZoneInfo("UTC"))
    back = local(instant(when, ZoneInfo(zone)), ZoneInfo(zone))
    assert back == when or 0 < (back - when).total_seconds() <= 3600


def test_the_parts_are_those_of_the_rfcs_table() -> None:
    """No frequency has more than RFC 5545 §3.3.10 lets it have."""
    assert set(recurrence.PARTS) == {"YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY"}
    assert "BYWEEKNO" not in {part for freq, parts in recurrence.PARTS.items() if freq != "YEARLY" for part in parts}
    assert "BYMONTHDAY" not in recurrence.PARTS["WEEKLY"]
