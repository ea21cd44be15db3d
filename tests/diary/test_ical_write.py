"""Calendars out: whole, private where they must be, and the same after a way there and back."""

from __future__ import annotations

from pathlib import Path

import icalendar
import pytest

from roomlink.core.bookings import OneWish, Wish, key_of
from roomlink.core.commands import Actor, CancelBooking, ChangeOccurrence, CreateBooking
from roomlink.diary.availability import busy
from roomlink.diary.ical_write import free_busy, zone_calendar
from roomlink.diary.intake import Trial
from tests.diary.desk import NOW, calendar, content, dates, event, harbour, send, stamp

FILES = sorted((Path(__file__).parent / "calendars").glob("*.ics"))
BY = Actor("office")


@pytest.fixture
def desk(tmp_path: Path) -> Trial:
    return harbour(tmp_path)


async def book(desk: Trial, name: str = "choir", **members: object) -> None:
    start = stamp("19970902T130000Z")
    usual = {"uid": f"{name}@harbour", "title": "Choir", "start": start, "end": start + 3600.0, "zones": ("heron",)}
    await desk.carry_out(CreateBooking(BY, name, Wish(**{**usual, **members})))  # type: ignore[arg-type]  # the tests' own


def said(data: bytes) -> list[str]:
    """The unfolded lines, but for when they were said."""
    lines = data.decode().replace("\r\n ", "").split("\r\n")
    return [line for line in lines if not line.startswith(("DTSTAMP", "CREATED", "LAST-MODIFIED"))]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
async def test_out_in_and_out_again_is_the_same(path: Path, tmp_path: Path) -> None:
    """What a zone's calendar says makes the same bookings elsewhere, and their calendar says the same."""
    desk = harbour(tmp_path / "here")
    await send(desk, content(path))
    for zone in desk.state.spec.zones:
        there = harbour(tmp_path / zone)
        out = zone_calendar(desk.state, zone)
        await send(there, out)
        assert said(zone_calendar(there.state, zone)) == said(out)
        for uid in there.state.booking_of_uid.live():
            assert dates(there, uid) == dates(desk, uid)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
async def test_an_own_calendar_that_comes_back_changes_nothing(path: Path, tmp_path: Path) -> None:
    """Somebody who sends us our own export neither changes a booking nor reveals what is private."""
    desk = harbour(tmp_path)
    await send(desk, content(path))
    before = dict(desk.state.bookings)
    for zone in desk.state.spec.zones:
        report = await send(desk, zone_calendar(desk.state, zone))
        assert {line.outcome for line in report.lines} <= {"unchanged"}
    assert desk.state.bookings == before


async def test_a_booking_made_here_is_unchanged_by_its_own_export(desk: Trial) -> None:
    """A date moved and one cancelled by hand come back as they are, the private title included."""
    starts = tuple(stamp(f"199709{day:02}T130000Z") for day in (2, 9, 16))
    await book(desk, private=True, rrule="FREQ=WEEKLY;COUNT=3", starts=starts, set_up=1800.0, scene="dinner")
    moved = OneWish(start=starts[1] + 7200.0, zones=("plover",))
    await desk.carry_out(ChangeOccurrence(BY, "choir", key_of(starts[1]), moved, ("*",)))
    await desk.carry_out(ChangeOccurrence(BY, "choir", key_of(starts[2]), OneWish(status="cancelled"), ("*",)))
    before = desk.state.bookings["choir"], [desk.state.occurrences["choir", k] for k in desk.state.dates["choir"]]
    report = await send(desk, zone_calendar(desk.state, "heron"))
    assert [line.outcome for line in report.lines] == ["unchanged"]
    after = desk.state.bookings["choir"], [desk.state.occurrences["choir", k] for k in desk.state.dates["choir"]]
    assert after == before


async def test_what_is_private_is_only_a_time(desk: Trial) -> None:
    """Neither title nor people nor scene of a private booking is in a calendar."""
    await book(desk, private=True, title="A secret wedding", attendance=77, scene="dinner", organiser="Somebody")
    text = zone_calendar(desk.state, "heron").decode()
    assert "SUMMARY:in use" in text
    assert "CLASS:PRIVATE" in text
    for secret in ("secret", "77", "dinner", "Somebody"):
        assert secret not in text


async def test_texts_are_escaped_and_lines_folded(desk: Trial) -> None:
    """Commas and semicolons of a title are no others', and no line has more than 75 bytes."""
    title = "Dîner, soirée; très long " + "et encore plus long " * 6
    await book(desk, title=title.strip())
    data = zone_calendar(desk.state, "heron")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    (found,) = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert str(found["SUMMARY"]) == title.strip()


async def test_a_cancelled_booking_says_so(desk: Trial) -> None:
    """Those who follow a calendar learn that an event is off."""
    await book(desk)
    await desk.carry_out(CancelBooking(BY, "choir", ("*",)))
    assert "STATUS:CANCELLED" in zone_calendar(desk.state, "heron").decode()


async def test_a_rule_is_given_in_the_venues_time_zone(desk: Trial) -> None:
    """With its VTIMEZONE, so that nine o'clock stays nine o'clock wherever it is read."""
    start = stamp("19970902T130000Z")
    await book(desk, rrule="FREQ=WEEKLY;COUNT=10", starts=tuple(start + 604800.0 * n for n in range(3)))
    text = zone_calendar(desk.state, "heron").decode()
    assert "DTSTART;TZID=America/New_York:19970902T090000" in text
    assert "BEGIN:VTIMEZONE" in text


async def test_free_busy_tells_times_and_nothing_else(desk: Trial) -> None:
    """RFC 5545 §3.6.4: BUSY and BUSY-TENTATIVE with set-up and clear-down; transparent time is free."""
    await book(desk, set_up=1800.0, title="Choir")
    maybe = event("b@example.test", STATUS="TENTATIVE", DTSTART="19970902T160000Z", DTEND="19970902T170000Z")
    free = event("c@example.test", TRANSP="TRANSPARENT", DTSTART="19970902T180000Z", DTEND="19970902T190000Z")
    await send(desk, calendar(maybe, free))
    start, end = stamp("19970902T000000Z"), stamp("19970903T000000Z")
    names = {"heron": "Heron", "tern": "Tern"}
    data = free_busy(names, busy(desk.state, names, start, end), start, end, NOW)
    heron, tern = icalendar.Calendar.from_ical(data).walk("VFREEBUSY")
    found = heron["FREEBUSY"]
    periods = [
        (p.params["FBTYPE"], p.start.strftime("%H%M"), p.end.strftime("%H%M"))
        for p in (found if isinstance(found, list) else [found])
    ]
    assert periods == [("BUSY", "1230", "1400"), ("BUSY-TENTATIVE", "1600", "1700")]
    assert "FREEBUSY" not in tern
    assert b"Choir" not in data
