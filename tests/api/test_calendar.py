"""Calendars over HTTP: in with a report, out with an ETag, free-busy, feeds and webhooks to look at."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import icalendar
import pytest

from roomlink import limits
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.webhooks import Webhooks
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from tests.api.harness import HARBOUR, Running, running, write_venue
from tests.diary.desk import NOW, ROOMS, calendar, event
from tests.runtime.peer import Peer, always, peer

ICS = {"content-type": "text/calendar; charset=utf-8"}


@pytest.fixture
async def hall(tmp_path: Path) -> AsyncIterator[Running]:
    """Harbour Hall in New York, on 1997-06-01."""
    text = HARBOUR.replace("America/Halifax", "America/New_York") + ROOMS
    async with running(write_venue(tmp_path / "hall", text), clock=VirtualClock(NOW)) as service:
        yield service


async def put_in(hall: Running, text: str | bytes, query: str = "") -> Any:
    data = text if isinstance(text, bytes) else text.replace("\n", "\r\n").encode()
    return await hall.http.post(f"/calendar/import{query}", content=data, headers=ICS)


async def test_a_calendar_is_taken_in_with_a_report(hall: Running) -> None:
    """Each component has its line: where it is, what became of it and why, and the booking that it is."""
    text = calendar(
        event(LOCATION="Ballroom A"), event("b@example.test"), event("c@example.test", LOCATION="Mars", SUMMARY="Ares")
    )
    answer = await put_in(hall, text)
    assert answer.status_code == 200
    data = answer.json()
    assert data["counts"] == {"taken": 1, "changed": 0, "unchanged": 0, "cancelled": 0, "ignored": 1, "refused": 1}
    taken, refused, ignored = data["lines"]
    booking = (await hall.http.get(f"/bookings/{taken['booking']}")).json()
    assert (booking["uid"], booking["zones"]) == ("a@example.test", ["heron"])
    assert refused["clashes"][0]["booking"] == taken["booking"]
    assert (ignored["line"], ignored["summary"], ignored["why"]) == (
        19,
        "Ares",
        "'Mars' is no room of this venue",
    )


async def test_a_dry_run_tells_and_changes_nothing(hall: Running) -> None:
    """The report is the same, and the diary stays empty."""
    seq = hall.writer.engine.seq
    data = (await put_in(hall, calendar(event(), event("b@example.test")), "?dry_run=true")).json()
    assert (data["dry_run"], data["counts"]["taken"], data["counts"]["refused"]) == (True, 1, 1)
    assert hall.writer.engine.seq == seq


async def test_zones_and_free_dates_can_be_asked_for(hall: Running) -> None:
    """Zones for what says no place; the free dates of a series that clashes."""
    series = event("s@example.test", LOCATION="", RRULE="FREQ=WEEKLY;COUNT=3")
    taken = event(LOCATION="Tern", DTSTART="19970909T130000Z", DTEND="19970909T140000Z")
    data = (await put_in(hall, calendar(taken, series), "?zone=tern&accept_free=true")).json()
    assert data["counts"]["taken"] == 2
    assert len(data["lines"][1]["clashes"]) == 1
    assert (await put_in(hall, calendar(series), "?zone=nowhere")).status_code == 404


@pytest.mark.parametrize(
    "body",
    [b"", b"hello", b"BEGIN:VCALENDAR\r\n", b"\xff\xfe\x00", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n"],
)
async def test_what_is_no_whole_calendar_is_a_problem_that_says_where(hall: Running, body: bytes) -> None:
    """Never our fault, and nothing of it is taken."""
    answer = await put_in(hall, body)
    assert answer.status_code == 400
    assert answer.json()["type"] == "/problems/bad-calendar"
    assert "nothing of it was taken" in answer.json()["detail"]


async def test_a_calendar_has_a_type_and_a_bound(hall: Running) -> None:
    """Another media type is told which would be right; what is too large is not read to its end."""
    answer = await hall.http.post("/calendar/import", json={})
    assert answer.status_code == 415
    assert "text/calendar" in answer.json()["detail"]
    assert (await put_in(hall, b"X" * (limits.BODY_BYTES_MAX + 1))).status_code == 413


async def test_a_zones_calendar_comes_with_an_etag(hall: Running) -> None:
    """Those who poll it are not sent the same again; it can be read by others."""
    await put_in(hall, calendar(event(SUMMARY="Choir\\, with piano")))
    answer = await hall.http.get("/calendar/heron.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    (found,) = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    assert (str(found["SUMMARY"]), str(found["LOCATION"])) == ("Choir, with piano", "Ballroom A")
    etag = answer.headers["etag"]
    again = await hall.http.get("/calendar/heron.ics", headers={"if-none-match": etag})
    assert (again.status_code, again.content) == (304, b"")
    await put_in(hall, calendar(event("b@example.test", DTSTART="19970903T130000Z", DTEND="19970903T140000Z")))
    assert (await hall.http.get("/calendar/heron.ics", headers={"if-none-match": etag})).status_code == 200
    assert (await hall.http.get("/calendar/nowhere.ics")).status_code == 404


async def test_free_busy_is_there_as_a_calendar(hall: Running) -> None:
    """For the zones and the time that are asked for, titles left out."""
    await put_in(hall, calendar(event(SUMMARY="Choir"), event("b@example.test", LOCATION="Tern")))
    window = "from=1997-09-02T00:00:00Z&to=1997-09-03T00:00:00Z"
    answer = await hall.http.get(f"/free-busy.ics?{window}&zone=heron")
    (heron,) = icalendar.Calendar.from_ical(answer.content).walk("VFREEBUSY")
    assert str(heron["COMMENT"]) == "Heron"
    assert b"Choir" not in answer.content
    assert len(icalendar.Calendar.from_ical((await hall.http.get(f"/free-busy.ics?{window}")).content).walk()) == 5
    assert (await hall.http.get("/free-busy.ics?from=1997-09-02T00:00:00Z&to=1997-09-01T00:00:00Z")).status_code == 422


async def test_without_feeds_and_webhooks_there_are_none(hall: Running) -> None:
    """Lists are empty, and what would act on them says why it cannot."""
    assert (await hall.http.get("/calendar/feeds")).json() == {"feeds": []}
    assert (await hall.http.get("/webhooks")).json() == {"webhooks": []}
    assert (await hall.http.post("/calendar/feeds/office/ask")).status_code == 409
    assert (await hall.http.post("/webhooks/office/replay")).status_code == 409


async def test_feeds_and_webhooks_can_be_looked_at_and_worked(tmp_path: Path) -> None:
    """What is followed and who is told, with what fails; asking and telling again take effect."""
    async with peer(always(410)) as other:
        text = f"{HARBOUR}\nwebhooks: {json.dumps([_hook(other)])}\ncalendar: {json.dumps({'feeds': [_feed(other)]})}\n"
        parts: dict[str, Any] = {}

        def make(writer: Writer) -> dict[str, Any]:
            parts.update(feeds=Feeds(writer), webhooks=Webhooks(writer, tmp_path))
            return parts

        async with running(write_venue(tmp_path / "hall", text), clock=VirtualClock(NOW), parts=make) as service:
            parts["feeds"].start()
            parts["webhooks"].start()
            await other.until(1)
            (feed,) = (await service.http.get("/calendar/feeds")).json()["feeds"]
            assert (feed["feed"], feed["url"]) == ("office", other.url + "/hall.ics?…")
            assert (await service.http.post("/calendar/feeds/office/ask")).status_code == 202
            await other.until(2)
            (hook,) = (await service.http.get("/webhooks")).json()["webhooks"]
            assert (hook["webhook"], hook["failed"]) == ("office", [])
            again = await service.http.post("/webhooks/office/replay", json={"after": 0})
            assert (again.status_code, again.json()["after"]) == (202, 0)
            assert (await service.http.post("/webhooks/office/replay", json={"after": 9999})).status_code == 422
            assert (await service.http.post("/webhooks/office/replay", json={"behind": 1})).status_code == 422
            assert (await service.http.post("/webhooks/nobody/replay")).status_code == 404
            await parts["feeds"].stop()
            await parts["webhooks"].stop()


def _hook(other: Peer) -> dict[str, Any]:
    return {"name": "office", "url": other.url + "/hook", "secret_file": "none"}


def _feed(other: Peer) -> dict[str, Any]:
    return {"name": "office", "url": other.url + "/hall.ics?token=hush"}
