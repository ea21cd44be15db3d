"""Files that are broken in ways nobody thought of: reading them never fails, and takes a bounded time."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.diary.ical_read import COMPONENTS_MAX
from tests.diary.desk import calendar, content, event, harbour, read, send

FILES = [content(path) for path in sorted((Path(__file__).parent / "calendars").glob("*.ics"))]
JUNK = st.sampled_from(
    [
        b"", b":", b";", b"=", b",", b'"', b" ", b"\t", b"\r\n", b"\n", b"\x00", b"\xff", b"-", b"+", b"0", b"99999999",
        b"Z", b"T", b"BEGIN:VEVENT\r\n", b"END:VEVENT\r\n", b"RRULE:FREQ=YEARLY;BYDAY=53MO\r\n", b"DTSTART:\r\n",
        b"RRULE:FREQ=WEEKLY;BYMONTHDAY=31\r\n", b"EXDATE:19970902\r\n", b"RDATE;VALUE=PERIOD:19970902T000000Z/PT0S\r\n",
        b"DTSTART;TZID=:19970902T090000\r\n", b"DTSTART;VALUE=TIME:090000\r\n", b"SEQUENCE:-1\r\n", b"DURATION:P\r\n",
        b"DTEND;VALUE=DATE:99991231\r\n", b"RECURRENCE-ID:19970902\r\n", b"X-ROOMLINK-SET-UP:soon\r\n",
        b"X-ROOMLINK-ATTENDANCE:many\r\n", b"LOCATION;ALTREP=\"cid:x\":Heron\r\n", b"STATUS:\r\n", b"METHOD:\r\n",
    ]
)  # fmt: skip
EDITS = st.lists(st.tuples(st.floats(0.0, 1.0), st.integers(0, 30), JUNK), min_size=1, max_size=6)


def edited(data: bytes, edits: list[tuple[float, int, bytes]]) -> bytes:
    for where, length, junk in edits:
        at = int(where * len(data))
        data = data[:at] + junk + data[at + length :]
    return data


@given(st.sampled_from(FILES), EDITS)
@settings(max_examples=300, deadline=None)
def test_whatever_is_broken_is_told(data: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    """Bytes put in, cut out and changed anywhere: what is left is read or refused, with a reason."""
    file = read(edited(data, edits))
    assert not (file.fault and file.events)
    assert all(finding.why and finding.outcome in ("ignored", "refused") for finding in file.findings)


@given(st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_noise_is_refused(data: bytes) -> None:
    """What is no calendar at all says so."""
    assert read(b"BEGIN:VCALENDAR\r\n" + data + b"\r\n").fault


async def test_too_many_components_are_refused(tmp_path: Path) -> None:
    """The bound is told, and nothing of the file is taken."""
    text = calendar(*("BEGIN:VTODO\nEND:VTODO\n" for _ in range(COMPONENTS_MAX + 1)))
    assert (await send(harbour(tmp_path), text)).fault.startswith("the file has 5001 components")


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=DAILY;COUNT=100000",
        "FREQ=DAILY;BYHOUR=0,1,2,3,4,5,6,7,8,9,10;COUNT=100000",
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=YEARLY;COUNT=5;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;COUNT=3;BYMONTH=2;BYMONTHDAY=31",
        "FREQ=WEEKLY;BYDAY=53MO",
    ],
)
async def test_a_rule_that_gives_much_or_nothing_ends(tmp_path: Path, rule: str) -> None:
    """However much or little a rule gives, the file is reported on."""
    report = await send(harbour(tmp_path), calendar(event(RRULE=rule, DTEND="", DURATION="PT15M")))
    assert len(report.lines) == 1
