"""iCalendar against what RFC 5545, RFC 4791 and the reference library say of the same calendars."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import icalendar
import pytest

from roomlink.diary.availability import busy
from roomlink.diary.ical_read import CalendarEvent, read_calendar
from roomlink.diary.ical_write import free_busy
from tests.diary.desk import NOW, busy_of, calendar, event, harbour, send, stamp

NEW_YORK = "America/New_York"
START, END = datetime(2024, 1, 1, tzinfo=UTC).timestamp(), datetime(2025, 1, 1, tzinfo=UTC).timestamp()


def only(text: str, start: float = START, end: float = END) -> CalendarEvent:
    file = read_calendar(text.replace("\n", "\r\n").encode(), NEW_YORK, start, end)
    assert not file.fault
    assert not file.findings
    (found,) = file.events
    return found


def test_the_weekly_night_over_the_change_of_clocks() -> None:
    """Weekly 01:30 to 02:30 in New York from 2024-03-03, four times, without 03-17, 03-24 moved to 03-25 09:00: each
    lasts one hour of real time, so that the one of 03-10 ends at 03:30 EDT."""
    zone = f"TZID={NEW_YORK}"
    series = event(
        DTSTART="", DTEND="",
        **{f"DTSTART__{zone}": "20240303T013000", f"DTEND__{zone}": "20240303T023000",
           f"EXDATE__{zone}": "20240317T013000"},
        RRULE="FREQ=WEEKLY;COUNT=4",
    )  # fmt: skip
    moved = event(
        DTSTART="", DTEND="",
        **{f"RECURRENCE-ID__{zone}": "20240324T013000", f"DTSTART__{zone}": "20240325T090000",
           f"DTEND__{zone}": "20240325T100000"},
    )  # fmt: skip
    found = only(calendar(series, moved))
    assert found.starts == tuple(map(stamp, ("20240303T063000Z", "20240310T063000Z", "20240324T053000Z")))
    assert found.end - found.start == 3600.0
    (change,) = found.changes
    assert (change.key, change.start, change.end) == (
        "20240324T053000Z",
        stamp("20240325T130000Z"),
        stamp("20240325T140000Z"),
    )


def test_an_end_is_not_included_and_a_date_alone_is_one_day() -> None:
    """RFC 5545 §3.6.1: DTEND is not included; a DATE start alone is one day."""
    days = only(calendar(event(DTSTART="", DTEND="", **{"DTSTART__VALUE=DATE": "20240628"})))
    assert (days.start, days.end) == (stamp("20240628T040000Z"), stamp("20240629T040000Z"))
    fair = only(
        calendar(event(DTSTART="", DTEND="", **{"DTSTART__VALUE=DATE": "20240628", "DTEND__VALUE=DATE": "20240709"}))
    )
    assert (fair.start, fair.end) == (stamp("20240628T040000Z"), stamp("20240709T040000Z"))


def test_a_time_alone_has_no_length() -> None:
    """RFC 5545 §3.6.1: a DATE-TIME start alone is a point, and so holds no room."""
    text = calendar(event(DTSTART="20240628T120000Z", DTEND="")).replace("\n", "\r\n").encode()
    (finding,) = read_calendar(text, NEW_YORK, START, END).findings
    assert (finding.outcome, finding.why) == ("refused", "it has no length: DTSTART alone is a point in time")


@pytest.mark.parametrize(
    ("local", "utc"), [("20070311T023000", "20070311T073000Z"), ("20071104T013000", "20071104T053000Z")]
)
def test_local_times_that_do_not_exist_or_exist_twice(local: str, utc: str) -> None:
    """RFC 5545 §3.3.5: with the offset from before the gap; the first of two."""
    text = calendar(event(DTSTART="", DTEND="", DURATION="PT1H", **{f"DTSTART__TZID={NEW_YORK}": local}))
    year = datetime(2007, 1, 1, tzinfo=UTC).timestamp()
    assert only(text, year, year + 366 * 86400.0).start == stamp(utc)


async def test_transparent_is_free_and_opaque_is_the_default(tmp_path: Path) -> None:
    """RFC 5545 §3.8.2.7."""
    desk = harbour(tmp_path)
    free = event("free@example.test", TRANSP="TRANSPARENT")
    await send(desk, calendar(free, event("usual@example.test", LOCATION="Tern")))
    assert busy_of(desk, "heron") == []
    assert busy_of(desk, "tern") == [("BUSY", "19970902T130000Z", "19970902T140000Z")]


async def test_cancelled_is_left_out_and_tentative_is_busy_tentative(tmp_path: Path) -> None:
    """RFC 4791 §7.10: CANCELLED events take no time, TENTATIVE ones are BUSY-TENTATIVE."""
    desk = harbour(tmp_path)
    off, maybe = event("off@example.test", STATUS="CANCELLED"), event("b@example.test", STATUS="TENTATIVE")
    await send(desk, calendar(off, maybe))
    assert busy_of(desk, "heron") == [("BUSY-TENTATIVE", "19970902T130000Z", "19970902T140000Z")]


async def test_a_free_busy_type_is_busy_unless_it_says_otherwise(tmp_path: Path) -> None:
    """RFC 5545 §3.2.9: the library reads ours as BUSY, as it would without the parameter."""
    desk = harbour(tmp_path)
    await send(desk, calendar(event()))
    end = NOW + 200 * 86400.0
    data = free_busy({"heron": "Heron"}, busy(desk.state, ("heron",), NOW, end), NOW, end, NOW)
    (component,) = icalendar.Calendar.from_ical(data).walk("VFREEBUSY")
    assert component["FREEBUSY"].params.get("FBTYPE", "BUSY") == "BUSY"
    without = icalendar.Calendar.from_ical(data.replace(b";FBTYPE=BUSY", b"")).walk("VFREEBUSY")[0]
    assert without["FREEBUSY"].params.get("FBTYPE", "BUSY") == "BUSY"
    assert without["FREEBUSY"].start == component["FREEBUSY"].start
