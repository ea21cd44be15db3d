"""HTTP handlers for calendars (in, out, followed) and for those who are told what happens (webhooks)."""

from __future__ import annotations

import asyncio
import hashlib

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api.bookings import WINDOW, window, zone_names
from roomlink.api.encoding import Json
from roomlink.api.models import Body
from roomlink.api.reading import flag
from roomlink.api.rest import actor, is_dry_run, parse, read, state, writer
from roomlink.core.checks import require
from roomlink.core.state import State
from roomlink.diary import availability
from roomlink.diary.ical_read import read_calendar
from roomlink.diary.ical_write import free_busy, zone_calendar
from roomlink.diary.intake import IMPORT, Terms, take_in
from roomlink.errors import BadRequest, Refused
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.outside import LiveDesk, TrialDesk
from roomlink.runtime.webhooks import Webhooks

MEDIA = "text/calendar"
IMPORT_QUERY = (
    ("zone", "a zone of events that say no place; may be given several times"),
    ("accept_free", "true: leave dates that are taken out of a series, instead of refusing it"),
)
FREE_BUSY_QUERY = WINDOW


class Replay(Body):
    """What to send again: what was put aside, or everything behind a position of the journal."""

    after: int | None = Field(None, description="a journal position; without it what was put aside")


def _calendar(request: Request, content: bytes, name: str) -> Response:
    """A calendar with an ETag, so that those who poll it need not be sent the same again."""
    etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": etag, "Cache-Control": "no-cache", "Content-Disposition": f'inline; filename="{name}.ics"'}
    if etag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(content, headers=headers, media_type=MEDIA)


async def get_zone_calendar(request: Request) -> Response:
    """A zone's bookings as iCalendar."""
    zone = request.path_params["zone"]
    require("zone", zone, state(request).spec.zones)
    # Of a copy, which costs next to nothing, and in a thread: a full diary takes a second to write out.
    content = await asyncio.to_thread(zone_calendar, state(request).copy(), zone)
    return _calendar(request, content, zone)


async def get_free_busy(request: Request) -> Response:
    """When zones are taken, as iCalendar: one VFREEBUSY for each."""
    now: State = state(request)
    start, end = window(request)
    taken = availability.busy(now, zone_names(request), start, end)
    names = {zone: spec.name for zone, spec in now.spec.zones.items()}
    return _calendar(request, free_busy(names, taken, start, end, writer(request).clock.stamp()), "free-busy")


async def post_import(request: Request) -> Response:
    """Take a calendar in; the answer is a report on each of its components, whatever became of it."""
    kind = request.headers.get("content-type", MEDIA).partition(";")[0].strip().lower()
    if kind != MEDIA:
        fault = BadRequest("bad-request", f"a calendar is sent as {MEDIA}, not as {kind}")
        fault.status = 415
        raise fault
    zones = tuple(request.query_params.getlist("zone"))
    for zone in zones:
        require("zone", zone, state(request).spec.zones)
    accept_free = flag("accept_free", request.query_params.get("accept_free", "false"))
    data = await read(request)
    venue = writer(request)
    now = venue.clock.stamp()
    upto = now + limits.BOOKING_AHEAD_S
    file = await asyncio.to_thread(read_calendar, data, venue.state.spec.timezone, now, upto)
    if file.fault:
        raise BadRequest("bad-calendar", f"{file.fault}; nothing of it was taken")
    dry = is_dry_run(request)
    desk = TrialDesk(venue.engine.ahead, now) if dry else LiveDesk(venue)
    report = await take_in(file, desk, Terms(actor(request), IMPORT, upto, zones, accept_free))
    return Json({"dry_run": dry, "seq": venue.engine.seq, **report.data()})


async def get_feeds(request: Request) -> Response:
    """The calendars that are followed."""
    there: Feeds | None = request.app.state.feeds
    return Json({"feeds": [] if there is None else there.status()})


async def post_ask(request: Request) -> Response:
    """Ask a feed for its calendar at once."""
    await read(request)
    there: Feeds | None = request.app.state.feeds
    if there is None:
        raise Refused("not-running", "the service follows no calendars")
    there.ask_now(request.path_params["feed"])
    return Json({"seq": writer(request).engine.seq, "zones": []}, status_code=202)


async def get_webhooks(request: Request) -> Response:
    """Those who are told what happens: how far, what fails, and what was put aside."""
    there: Webhooks | None = request.app.state.webhooks
    return Json({"webhooks": [] if there is None else there.status()})


async def post_replay(request: Request) -> Response:
    """Tell a webhook again."""
    body = await parse(request, Replay, optional=True)
    there: Webhooks | None = request.app.state.webhooks
    if there is None:
        raise Refused("not-running", "the service tells nobody")
    done = there.replay(request.path_params["webhook"], body.after)
    return Json({"seq": writer(request).engine.seq, "zones": [], **done}, status_code=202)
