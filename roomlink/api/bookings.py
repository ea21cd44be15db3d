"""HTTP handlers of the diary: bookings, single dates of them, and free-busy. What recurs is expanded here, in a thread.

What is private is hidden in everything that is read; whoever writes knows it.
"""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.models import Body, Name
from roomlink.api.reading import entity_tags, flag
from roomlink.api.rest import actor, carry_out, parse, state, writer
from roomlink.core import clashes, diary, diary_view
from roomlink.core.bookings import Booking as BookingRecord
from roomlink.core.bookings import OneWish, Wish, key_of, start_of
from roomlink.core.checks import require
from roomlink.core.commands import CancelBooking, ChangeBooking, ChangeOccurrence, CreateBooking
from roomlink.core.instants import rfc3339
from roomlink.diary import availability, recurrence
from roomlink.errors import BadValue

Status = Literal["confirmed", "tentative"]
TIME = "RFC 3339, or without an offset in the venue's time zone"
WINDOW = (
    ("from", f"start of the time looked at, {TIME}; now if not given"),
    ("to", "end of it, not included; 31 days later if not given"),
    ("zone", "only this zone; may be given several times"),
)
LIST = (*WINDOW, ("all", "true: cancelled and transparent bookings too"))
CONDITION = (("If-Match", "the ETag of the booking that is changed"),)
WINDOW_S = 31 * 86400.0


class Booking(Body):
    """A booking. Times are half-open: the next one may start at `end`."""

    title: str
    start: str = Field(description=f"of the guests: {TIME}")
    end: str
    zones: list[Name] | None = Field(None, description="the zones; or give `capacity`")
    capacity: int | None = Field(None, description="choose zones that are posted for so many people")
    set_up: float | None = Field(None, description="minutes before `start`; the venue's if not given")
    clear_down: float | None = Field(None, description="minutes after `end`; the venue's if not given")
    attendance: int | None = Field(None, description="people; never more than posted for exactly these zones")
    scene: Name | None = Field(None, description="recalled when set-up begins")
    status: Status = "confirmed"
    transparent: bool = Field(False, description="it takes no time: others may book the same")
    private: bool = Field(False, description="others see only that the zones are in use")
    organiser: str = ""
    rrule: str | None = Field(None, description="RFC 5545, such as FREQ=WEEKLY;BYDAY=MO;COUNT=10, in local time")
    rdates: list[str] = Field(default_factory=list, max_length=limits.OCCURRENCES_OF_ONE_MAX)
    exdates: list[str] = Field(default_factory=list, max_length=limits.OCCURRENCES_OF_ONE_MAX)
    uid: str | None = Field(None, description="the name in other calendars; made if not given")
    accept_free: bool = Field(False, description="book the dates that are free; `refused` lists the others")


class BookingChange(Body):
    """What is different about a booking; what is not given stays. A moved `start` without `end` keeps the length."""

    title: str | None = None
    start: str | None = None
    end: str | None = None
    zones: list[Name] | None = None
    capacity: int | None = None
    set_up: float | None = None
    clear_down: float | None = None
    attendance: int | None = None
    scene: Name | None = None
    status: Status | None = None
    transparent: bool | None = None
    private: bool | None = None
    organiser: str | None = None
    rrule: str | None = None
    rdates: list[str] | None = None
    exdates: list[str] | None = None
    accept_free: bool = False


class OccurrenceChange(Body):
    """What is different about one date of a booking. `back`: nothing any more, it is as its series again."""

    start: str | None = None
    end: str | None = None
    zones: list[Name] | None = None
    attendance: int | None = None
    scene: str | None = Field(None, description="an empty text for none")
    status: Literal["confirmed", "tentative", "cancelled"] | None = None
    title: str | None = None
    back: bool = False


# Reading


def zone_names(request: Request) -> tuple[str, ...]:
    names = tuple(request.query_params.getlist("zone"))
    for name in names:
        require("zone", name, state(request).spec.zones)
    return names or tuple(state(request).spec.zones)


def window(request: Request) -> tuple[float, float]:
    query, timezone = request.query_params, state(request).spec.timezone
    # A "+" of an offset that was not escaped in a URL arrives as a space.
    given = {n: recurrence.read_time(n, query[n].replace(" ", "+"), timezone) for n in ("from", "to") if n in query}
    start = given.get("from", writer(request).clock.stamp())
    end = given.get("to", start + WINDOW_S)
    if not start < end <= start + limits.BOOKING_AHEAD_S:
        days = limits.BOOKING_AHEAD_S / 86400.0
        raise BadValue("to", f"lies after `from`, by {days:g} days at most", days=days)
    return start, end


async def get_bookings(request: Request) -> Response:
    """Bookings with the dates that touch a time."""
    start, end = window(request)
    zones = zone_names(request) if "zone" in request.query_params else None
    everything = flag("all", request.query_params.get("all", "false"))
    now, may_see = state(request), identity.may_see(request)
    found: dict[str, Any] = {}
    for name, one in clashes.between(now, start, end, zones, all_of_it=everything):
        if name not in found:
            found[name] = {**diary_view.summary(now, name, may_see=may_see), "occurrences": []}
        found[name]["occurrences"].append(diary_view.occurrence(now, name, one, may_see=may_see))
    return Json({"from": rfc3339(start), "to": rfc3339(end), "bookings": list(found.values())})


async def get_booking(request: Request) -> Response:
    name = request.path_params["booking"]
    booking = diary.find(state(request), name)
    seen = diary_view.booking(state(request), name, may_see=identity.may_see(request))
    return Json(seen, headers={"ETag": f'"{diary_view.etag(booking)}"'})


async def get_free_busy(request: Request) -> Response:
    """When zones are taken, set-up and clear-down included, and when they are free."""
    start, end = window(request)
    taken = availability.busy(state(request), zone_names(request), start, end)
    shown = {
        zone: {
            "busy": [{"start": rfc3339(b.start), "end": rfc3339(b.end), "kind": b.kind} for b in spells],
            "free": [{"start": rfc3339(a), "end": rfc3339(b)} for a, b in availability.free(spells, start, end)],
        }
        for zone, spells in taken.items()
    }
    return Json({"from": rfc3339(start), "to": rfc3339(end), "zones": shown})


# Writing


async def expanded(given: Mapping[str, Any], uid: str, timezone: str, now: float) -> Wish:
    """The wish that ``given`` (members of ``Booking``, times as stamps, lengths in seconds) comes to, expanded."""
    members = {k: v for k, v in given.items() if k not in ("accept_free", "uid")}
    members["zones"] = tuple(given.get("zones") or ())
    members["rdates"] = recurrence.read_dates("rdates", given.get("rdates") or (), timezone)
    members["exdates"] = recurrence.read_dates("exdates", given.get("exdates") or (), timezone)
    start = float(round(given["start"]))
    rule = None if not given.get("rrule") else recurrence.parse(given["rrule"], timezone)
    members["rrule"] = None if rule is None else rule.text
    upto = max(now, start) + limits.BOOKING_AHEAD_S
    dates = await asyncio.to_thread(
        recurrence.expand, start, timezone, rule, members["rdates"], members["exdates"], upto=upto
    )
    return Wish(uid=uid, **members, starts=dates.starts, upto=dates.upto)


def _given(body: Body, timezone: str) -> dict[str, Any]:
    """What was given in a body, with times as stamps and minutes as seconds."""
    given = body.model_dump(exclude_unset=True)
    for name in ("start", "end"):
        if given.get(name) is not None:
            given[name] = recurrence.read_time(name, given[name], timezone)
    for name in ("set_up", "clear_down"):
        if given.get(name) is not None:
            given[name] *= 60.0
    return given


async def post_booking(request: Request) -> Response:
    body = await parse(request, Booking)
    spec = state(request).spec
    name = uuid.uuid4().hex[:16]
    given = _given(body, spec.timezone)
    wish = await expanded(given, body.uid or f"{name}@{spec.id}", spec.timezone, writer(request).clock.stamp())
    return await carry_out(request, CreateBooking(actor(request), name, wish, body.accept_free), body)


async def put_booking(request: Request) -> Response:
    body = await parse(request, Booking)
    old = diary.find(state(request), request.path_params["booking"])
    given = _given(body, state(request).spec.timezone)
    return await _change(request, body, old, given, body.accept_free)


async def patch_booking(request: Request) -> Response:
    """Change what is given. What is read here to be kept is safe, as the ETag is of the same state."""
    body = await parse(request, BookingChange)
    old = diary.find(state(request), request.path_params["booking"])
    given = _given(body, state(request).spec.timezone)
    for name in ("title", "start", "end", "status", "transparent", "private", "organiser"):
        if name in given and given[name] is None:
            raise BadValue(name, "null is no value for it; leave it out to keep what it is")
    if "start" in given and "end" not in given:
        given["end"] = given["start"] + old.end - old.start
    if given.get("capacity") is not None and "zones" not in given:
        given["zones"] = None
    kept = {name: getattr(old, name) for name in Booking.model_fields if hasattr(old, name)}
    return await _change(request, body, old, {**kept, **given}, body.accept_free)


async def _change(
    request: Request, body: Body, old: BookingRecord, given: Mapping[str, Any], accept_free: bool
) -> Response:
    condition = entity_tags(request.headers.get("if-match"))
    name = request.path_params["booking"]
    wish = await expanded(given, old.uid, state(request).spec.timezone, writer(request).clock.stamp())
    return await carry_out(request, ChangeBooking(actor(request), name, wish, condition, accept_free), body)


async def delete_booking(request: Request) -> Response:
    """Cancel; the booking stays to be seen as cancelled."""
    condition = entity_tags(request.headers.get("if-match"))
    return await carry_out(request, CancelBooking(actor(request), request.path_params["booking"], condition))


def _key(request: Request) -> str:
    """The key of a date, given as it is or as the time at which the series has it."""
    text = request.path_params["occurrence"]
    try:
        return key_of(start_of(text))
    except ValueError:
        return key_of(recurrence.read_time("occurrence", text, state(request).spec.timezone))


async def patch_occurrence(request: Request) -> Response:
    body = await parse(request, OccurrenceChange)
    given = _given(body, state(request).spec.timezone)
    if given.get("zones") is not None:
        given["zones"] = tuple(given["zones"])
    return await _change_one(request, OneWish(**given), body)


async def delete_occurrence(request: Request) -> Response:
    """Cancel one date."""
    return await _change_one(request, OneWish(status="cancelled"), None)


async def _change_one(request: Request, wish: OneWish, body: Body | None) -> Response:
    condition = entity_tags(request.headers.get("if-match"))
    name = request.path_params["booking"]
    command = ChangeOccurrence(actor(request), name, _key(request), wish, condition)
    return await carry_out(request, command, body)
