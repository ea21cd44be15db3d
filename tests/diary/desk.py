"""A venue to take calendars in, on a clock that stands at 1997-06-01, before the dates of RFC 5545's examples."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from roomlink import limits
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Actor, Configure
from roomlink.core.decide import decide
from roomlink.core.state import State
from roomlink.diary.availability import busy
from roomlink.diary.ical_read import CalendarFile, read_calendar
from roomlink.diary.intake import IMPORT, Terms, Trial, take_in
from roomlink.diary.reports import Report
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, write_venue

NOW = datetime(1997, 6, 1, tzinfo=UTC).timestamp()
UPTO = NOW + limits.BOOKING_AHEAD_S
ZONE = "America/New_York"
ROOMS = """
calendar:
  rooms: {Ballroom A: [heron], Ballroom B: [plover], Ballroom AB: [heron, plover]}
"""


def content(path: Path) -> bytes:
    return path.read_bytes()


def stamp(text: str) -> float:
    """The stamp of ``19970902T130000Z``."""
    return datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC).timestamp()


def harbour(folder: Path) -> Trial:
    """Harbour Hall in New York, with nothing booked yet."""
    loaded = load(write_venue(folder, HARBOUR.replace("America/Halifax", ZONE) + ROOMS))
    desk = Trial(State(), NOW)
    for event in decide(desk.state, Configure(SERVICE, loaded.data, loaded.digest), NOW).events:
        apply(desk.state, event)
    return desk


def read(data: bytes | str, now: float = NOW, upto: float = UPTO) -> CalendarFile:
    text = data if isinstance(data, bytes) else data.replace("\r\n", "\n").replace("\n", "\r\n").encode()
    return read_calendar(text, ZONE, now, upto)


async def send(desk: Trial, data: bytes | str, **terms: object) -> Report:
    """Take a calendar in, as a person who sends it."""
    given: dict[str, Any] = {"by": Actor("office"), "source": IMPORT, "upto": UPTO, **terms}
    return await take_in(read(data, desk.now, given["upto"]), desk, Terms(**given))


def calendar(*events: str, method: str = "PUBLISH") -> str:
    """A VCALENDAR around events."""
    head = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//example.test//Events office//EN\nMETHOD:{method}\n"
    return head + "".join(events) + "END:VCALENDAR\n"


def event(uid: str = "a@example.test", **properties: str) -> str:
    """A VEVENT; an underscore in a property's name stands for a hyphen, two for a semicolon and a parameter."""
    said = {"LOCATION": "Heron", "DTSTART": "19970902T130000Z", "DTEND": "19970902T140000Z", **properties}
    lines = []
    for name, value in said.items():
        bare, _, parameter = name.partition("__")
        if value:
            lines.append(f"{bare.replace('_', '-')}{';' if parameter else ''}{parameter}:{value}")
    return "\n".join(["BEGIN:VEVENT", f"UID:{uid}", "DTSTAMP:19970601T090000Z", *lines, "END:VEVENT"]) + "\n"


def dates(desk: Trial, uid: str) -> list[str]:
    """The dates of a booking that hold or would hold, as ``start/end``."""
    name = desk.state.booking_of_uid[uid]
    found = [desk.state.occurrences[name, key] for key in desk.state.dates[name]]
    return sorted(f"{utc(one.start)}/{utc(one.end)}" for one in found if one.status != "cancelled")


def utc(at: float) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y%m%dT%H%M%SZ")


def busy_of(desk: Trial, zone: str) -> list[tuple[str, str, str]]:
    """When a zone is taken: kind, start, end."""
    return [(b.kind, utc(b.start), utc(b.end)) for b in busy(desk.state, (zone,), NOW, UPTO)[zone]]
