"""HTTP handlers for the end of bookings and parties, paging, presence, and walls that are not to be moved."""

from __future__ import annotations

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.models import Body, Name
from roomlink.api.rest import actor, carry_out, parse, state
from roomlink.api.row import KEY, Row
from roomlink.core import evening_view
from roomlink.core.commands import KeepOn, MarkWall, ProlongDate, ReportPaging, ReportPresence, UnmarkWall


class Extension(Body):
    """How much longer the guests of a date that is on stay."""

    minutes: float


class KeptOn(Body):
    """Where a routine is to leave things on."""

    zones: list[Name] | None = Field(None, description="wherever it is about to end something, if not given")


class Mark(Body):
    """Why a wall is not to be moved."""

    why: str = Field(min_length=1, max_length=limits.WALL_MARK_CHARS_MAX)


class Presence(Body):
    """Whether somebody is in a zone."""

    present: bool


class Active(Body):
    """Whether somebody pages."""

    active: bool


async def post_extend(request: Request) -> Response:
    body, path = await parse(request, Extension), request.path_params
    command = ProlongDate(actor(request), path["booking"], path["occurrence"], body.minutes * 60.0)
    return await carry_out(request, command, body)


async def post_keep_on(request: Request) -> Response:
    body = await parse(request, KeptOn, optional=True)
    zones = None if body.zones is None else tuple(body.zones)
    return await carry_out(request, KeepOn(actor(request), request.path_params["routine"], zones), body)


async def get_evening(request: Request) -> Response:
    return Json(evening_view.whole(state(request), may_see=identity.may_see(request)))


async def put_mark(request: Request) -> Response:
    body = await parse(request, Mark)
    return await carry_out(request, MarkWall(actor(request), request.path_params["partition"], body.why), body)


async def delete_mark(request: Request) -> Response:
    return await carry_out(request, UnmarkWall(actor(request), request.path_params["partition"]))


async def put_presence(request: Request) -> Response:
    body = await parse(request, Presence)
    return await carry_out(request, ReportPresence(actor(request), request.path_params["zone"], body.present), body)


async def put_paging(request: Request) -> Response:
    body = await parse(request, Active)
    return await carry_out(request, ReportPaging(actor(request), request.path_params["paging"], body.active), body)


EVENING: tuple[Row, ...] = (
    Row(
        "GET", "/evening", get_evening, "Bookings that end, routines that wait, paging, and where people are",
        role="view",
    ),
    Row(
        "POST", "/bookings/{booking}/occurrences/{occurrence}/extend", post_extend,
        "Let the guests of a date that is on stay longer, if the zones are free", Extension, True, headers=KEY,
        statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "POST", "/routines/{routine}/keep-on", post_keep_on, "Keep on what a routine is about to end", KeptOn, True,
        headers=KEY, statuses=(404, 409, 422), role="operate",
    ),
    Row(
        "PUT", "/partitions/{partition}/do-not-move", put_mark, "Mark a wall that is not to be moved", Mark, True,
        statuses=(404, 422), role="manage",
    ),
    Row(
        "DELETE", "/partitions/{partition}/do-not-move", delete_mark, "Let a wall be moved again", None, True,
        statuses=(404,), role="manage",
    ),
    Row(
        "PUT", "/presence/{zone}", put_presence, "Say whether somebody is in a zone", Presence, True,
        statuses=(404, 422), role="operate",
    ),
    Row(
        "PUT", "/paging/{paging}", put_paging, "Say that somebody pages, or no more", Active, True,
        statuses=(404, 422), role="operate",
    ),
)  # fmt: skip
