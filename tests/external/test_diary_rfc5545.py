"""Recurrence and times against RFC 5545's own examples, and against reference libraries.

Rules: RFC 5545 §3.8.5.3, whose text python-dateutil reproduces; DTSTART is 1997-09-02 09:00 in America/New_York
unless another is given.
"""

from __future__ import annotations

import contextlib
import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
import recurring_ical_events

from roomlink.core.bookings import OneWish, Wish, key_of, start_of
from roomlink.core.clashes import between
from roomlink.core.commands import CreateBooking
from roomlink.diary.recurrence import expand, instant, parse, read_dates, read_time
from roomlink.errors import Refused
from roomlink.testing.driver import PLAIN
from tests.core.booked import at, book, hall

NEW_YORK = "America/New_York"
ZONE = ZoneInfo(NEW_YORK)
HORIZON = datetime(2010, 1, 1, tzinfo=UTC).timestamp()


def starts(rule: str, first: str = "1997-09-02T09:00", exdates: tuple[str, ...] = ()) -> list[datetime]:
    """What a rule gives, in New York's time."""
    start = read_time("start", first, NEW_YORK)
    out = read_dates("exdates", exdates, NEW_YORK)
    found = expand(start, NEW_YORK, parse(rule, NEW_YORK), exdates=out, upto=HORIZON).starts
    return [datetime.fromtimestamp(stamp, ZONE) for stamp in found]


def days(text: str) -> list[str]:
    """``9/2 9/9 1/4``: dates that go on over the turn of the year, from 1997 or the year before the colon."""
    year_text, _, rest = text.rpartition(":")
    year, month, found = int(year_text or 1997), 0, []
    for part in re.findall(r"\d+/\d+", rest):
        m, d = map(int, part.split("/"))
        year += m < month
        month = m
        found.append(f"{year}-{m:02}-{d:02}")
    return found


# rule, DTSTART, dates; all of RFC 5545 §3.8.5.3
EXAMPLES = [
    ("FREQ=WEEKLY;COUNT=10", "1997-09-02", "9/2 9/9 9/16 9/23 9/30 10/7 10/14 10/21 10/28 11/4"),
    (
        "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        "1997-09-01",
        "9/1 9/3 9/5 9/15 9/17 9/19 9/29 10/1 10/3 10/13 10/15 10/17 10/27 10/29 10/31 11/10 11/12 11/14 11/24 11/26"
        " 11/28 12/8 12/10 12/12 12/22",
    ),
    ("FREQ=MONTHLY;COUNT=10;BYDAY=1FR", "1997-09-05", "9/5 10/3 11/7 12/5 1/2 2/6 3/6 4/3 5/1 6/5"),
    (
        "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
        "1997-09-07",
        "9/7 9/28 11/2 11/30 1/4 1/25 3/1 3/29 5/3 5/31",
    ),
    ("FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "1997-09-22", "9/22 10/20 11/17 12/22 1/19 2/16"),
    (
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
        "1997-09-30",
        "9/30 10/1 10/31 11/1 11/30 12/1 12/31 1/1 1/31 2/1",
    ),
    ("FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08-05", "8/5 8/10 8/19 8/24"),
    ("FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08-05", "8/5 8/17 8/19 8/31"),
    ("FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15", "2007:1/15 1/30 2/15 3/15 3/30"),
]


@pytest.mark.parametrize(("rule", "first", "expected"), EXAMPLES, ids=[rule for rule, _, _ in EXAMPLES])
def test_rules_give_the_dates_that_the_rfc_prints(rule: str, first: str, expected: str) -> None:
    """RFC 5545 §3.8.5.3. Always at 09:00 on the clock of that day."""
    found = starts(rule, f"{first}T09:00")
    assert [when.strftime("%Y-%m-%d") for when in found] == days(expected)
    assert {(when.hour, when.minute) for when in found} == {(9, 0)}


def test_a_daily_rule_until_christmas_crosses_the_change_of_the_clocks() -> None:
    """RFC 5545 §3.8.5.3: 113 instances, in daylight saving time up to October 25."""
    found = starts("FREQ=DAILY;UNTIL=19971224T000000Z")
    assert (len(found), found[0].day, found[-1].strftime("%m-%d")) == (113, 2, "12-23")
    offsets = {when.strftime("%m-%d"): when.utcoffset() for when in found}
    assert all((offset == timedelta(hours=-4)) == (day <= "10-25") for day, offset in offsets.items())
    assert offsets["10-26"] == timedelta(hours=-5)


def test_the_weekly_rule_changes_its_offset_with_the_clocks() -> None:
    """RFC 5545 §3.8.5.3: October 28 and November 4 are in standard time."""
    found = starts("FREQ=WEEKLY;COUNT=10")
    assert [when.tzname() for when in found] == ["EDT"] * 8 + ["EST"] * 2


def test_the_second_to_last_weekday_of_the_month() -> None:
    """RFC 5545 §3.8.5.3; the rule has no end, so only what the RFC prints is compared."""
    found = starts("FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2", "1997-09-29T09:00")
    expected = days("9/29 10/30 11/27 12/30 1/29 2/26 3/30")
    assert [when.strftime("%Y-%m-%d") for when in found[:7]] == expected


def test_every_friday_the_13th_without_the_first_date() -> None:
    """RFC 5545 §3.8.5.3: DTSTART is an instance by itself, which EXDATE takes out."""
    found = starts("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", exdates=("1997-09-02T09:00",))
    expected = ["1998-02-13", "1998-03-13", "1998-11-13", "1999-08-13", "2000-10-13"]
    assert [when.strftime("%Y-%m-%d") for when in found[:5]] == expected


def test_every_three_hours_until_17_utc_ends_at_noon() -> None:
    """RFC 5545 §3.8.5.3 prints 09:00, 12:00 and 15:00 for this rule, against its own rule for UNTIL (§3.3.10).

    UNTIL=19970902T170000Z is 13:00 in New York, which is at -04:00 then; 15:00 there is 19:00 UTC, after UNTIL. The
    example was written for 17:00 local time. 09:00 and 12:00 are right.
    """
    found = starts("FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T170000Z")
    assert [when.hour for when in found] == [9, 12]


def test_a_time_that_does_not_exist_is_read_with_the_offset_before_the_gap() -> None:
    """RFC 5545 §3.3.5: 2007-03-11 02:30 in New York is 07:30 UTC."""
    assert key_of(instant(datetime(2007, 3, 11, 2, 30), ZONE)) == "20070311T073000Z"  # noqa: DTZ001 - a local time


def test_a_time_that_exists_twice_is_the_first() -> None:
    """RFC 5545 §3.3.5: 2007-11-04 01:30 in New York is 05:30 UTC."""
    assert key_of(instant(datetime(2007, 11, 4, 1, 30), ZONE)) == "20071104T053000Z"  # noqa: DTZ001 - a local time


@pytest.mark.parametrize(("day", "hours"), [("2024-03-09", 23.0), ("2024-11-02", 25.0)])
def test_from_nine_to_nine_is_not_always_a_day(day: str, hours: float) -> None:
    """Python's own subtraction of two times in one zone says 24 h; instants say what passes (reproduced, CPython)."""
    evening = datetime.fromisoformat(f"{day}T09:00").replace(tzinfo=ZONE)
    morning = evening + timedelta(days=1)
    assert (morning - evening) == timedelta(hours=24)
    found = [instant(when.replace(tzinfo=None), ZONE) for when in (evening, morning)]
    assert (found[1] - found[0]) / 3600.0 == hours


WEEKLY = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//trial//EN
BEGIN:VEVENT
UID:weekly@trial
DTSTAMP:20240101T000000Z
DTSTART;TZID=America/New_York:20240303T013000
DTEND;TZID=America/New_York:20240303T023000
RRULE:FREQ=WEEKLY;COUNT=4
EXDATE;TZID=America/New_York:20240317T013000
END:VEVENT
BEGIN:VEVENT
UID:weekly@trial
DTSTAMP:20240101T000000Z
RECURRENCE-ID;TZID=America/New_York:20240324T013000
DTSTART;TZID=America/New_York:20240325T090000
DTEND;TZID=America/New_York:20240325T100000
END:VEVENT
END:VCALENDAR
"""


def test_a_series_with_a_date_out_and_a_date_moved_is_what_a_reference_library_makes_of_it() -> None:
    """recurring-ical-events: 03-03, 03-10 (ends 03:30 EDT), 03-25 at 09:00; each an hour of real time."""
    events = recurring_ical_events.of(icalendar.Calendar.from_ical(WEEKLY)).between((2024, 3, 1), (2024, 4, 1))
    theirs = sorted((e["DTSTART"].dt.timestamp(), e["DTSTART"].dt) for e in events)

    driver = hall()
    start, out = read_time("start", "2024-03-03T01:30", NEW_YORK), read_dates("exdates", ["2024-03-17T01:30"], NEW_YORK)
    dates = expand(start, NEW_YORK, parse("FREQ=WEEKLY;COUNT=4", NEW_YORK), exdates=out, upto=HORIZON + 1e9)
    moved = read_time("start", "2024-03-25T09:00", NEW_YORK)
    one = ((key_of(read_time("start", "2024-03-24T01:30", NEW_YORK)), OneWish(start=moved)),)
    wish = Wish("weekly@trial", "Weekly", start, start + 3600.0, ("a",), starts=dates.starts, ones=one)
    driver.do(CreateBooking(PLAIN, "weekly", wish))
    ours = [o for _, o in between(driver.state, start, HORIZON + 1e9)]
    assert [o.start for o in ours] == [stamp for stamp, _ in theirs]
    assert {o.end - o.start for o in ours} == {3600.0}
    assert datetime.fromtimestamp(ours[1].end, ZONE).strftime("%m-%d %H:%M %Z") == "03-10 03:30 EDT"
    assert ours[2].key == "20240324T053000Z"


def test_the_end_is_not_included() -> None:
    """RFC 5545 §3.6.1: DTEND is not part of the event; so [10,11) and [11,12) do not meet, as pandas.Interval says."""
    driver = hall()
    book(driver, "a", 600, 660)
    book(driver, "a", 660, 720)
    assert len(between(driver.state, at(600), at(720))) == 2
    assert len(between(driver.state, at(660), at(720))) == 1


def test_a_transparent_event_takes_no_time() -> None:
    """RFC 5545 §3.8.2.7: TRANSP defaults to OPAQUE; TRANSPARENT is free."""
    driver = hall()
    book(driver, "a", 600, 660, transparent=True)
    book(driver, "a", 600, 660)
    assert len(between(driver.state, at(600), at(660))) == 1


def test_activity_selection_agrees_with_the_index() -> None:
    """A textbook's example, from memory: of these times the most that go together are the 1st, 4th, 8th and 11th.

    Booked in the order of their ends, a first-come diary takes exactly those.
    """
    begins, ends = (1, 3, 0, 5, 3, 5, 6, 7, 8, 2, 12), (4, 5, 6, 7, 9, 9, 10, 11, 12, 14, 16)
    driver = hall()
    taken = []
    for number, (start, end) in enumerate(zip(begins, ends, strict=True), 1):
        with contextlib.suppress(Refused):
            book(driver, "a", start * 60.0, end * 60.0)
            taken.append(number)
    assert taken == [1, 4, 8, 11]


def test_keys_are_written_as_the_rfc_writes_utc_times() -> None:
    """RFC 5545 §3.3.5, form 2: a date with UTC time has a Z."""
    assert key_of(start_of("19980119T070000Z")) == "19980119T070000Z"
