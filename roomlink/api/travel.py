"""HTTP handlers for what travels: joins, one-way overflows and microphones."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api import identity, models
from roomlink.api.encoding import Json
from roomlink.api.rest import actor, carry_out, new_name, parse, state
from roomlink.api.row import Row
from roomlink.core import travel_view
from roomlink.core.checks import require
from roomlink.core.commands import AssignMicrophone, EndOverflow, JoinZones, StartOverflow
from roomlink.errors import BadValue


async def get_overflows(request: Request) -> Response:
    """Those that go one way, with what is configured beside them, and the joins."""
    now = state(request)
    configured = travel_view.configured(now)["overflows"]
    return Json({"one_way": travel_view.one_ways(now), "joins": travel_view.joins(now), "configured": configured})


async def put_overflow(request: Request) -> Response:
    """A body with ``zones`` joins them; one with ``from`` and ``to``, or of a configured name, goes one way."""
    body = await parse(request, models.Overflow, optional=True)
    name = new_name(request, "overflow")
    if body.zones is not None:
        if body.from_ is not None or body.to is not None or body.carries is not None:
            raise BadValue("zones", "`zones` joins them, `from` and `to` go one way: give one or the other")
        if not body.zones:
            raise BadValue("zones", "an overflow joins at least two zones; DELETE ends it", minimum=2)
        return await carry_out(request, JoinZones(actor(request), name, tuple(body.zones)), body)
    carries = None if body.carries is None else tuple(body.carries)
    return await carry_out(request, StartOverflow(actor(request), name, body.from_, body.to, carries), body)


async def delete_overflow(request: Request) -> Response:
    name, now = request.path_params["overflow"], state(request)
    if name in now.one_ways:
        return await carry_out(request, EndOverflow(actor(request), name))
    require("overflow", name, [*now.overflows.live(), *now.one_ways.live()])
    return await carry_out(request, JoinZones(actor(request), name))


async def put_join(request: Request) -> Response:
    body = await parse(request, models.Zones)
    if not body.zones:
        raise BadValue("zones", "a join takes at least two zones; DELETE ends it", minimum=2)
    return await carry_out(request, JoinZones(actor(request), new_name(request, "join"), tuple(body.zones)), body)


async def delete_join(request: Request) -> Response:
    require("join", name := request.path_params["join"], list(state(request).overflows.live()))
    return await carry_out(request, JoinZones(actor(request), name))


async def get_microphones(request: Request) -> Response:
    may_see = identity.may_see(request)
    return Json({"microphones": travel_view.all_microphones(state(request), may_see=may_see)})


async def put_microphone(request: Request) -> Response:
    body = await parse(request, models.Assignment)
    command = AssignMicrophone(actor(request), request.path_params["microphone"], body.zone)
    return await carry_out(request, command, body)


TRAVEL: tuple[Row, ...] = (
    Row(
        "PUT", "/overflows/{overflow}", put_overflow, "Let a zone have what is in another, one way; or join zones",
        models.Overflow, True, statuses=(404, 409, 422), role="manage",
    ),
    Row(
        "DELETE", "/overflows/{overflow}", delete_overflow, "End an overflow", None, True, statuses=(404,),
        role="manage",
    ),
    Row(
        "GET", "/overflows", get_overflows, "Overflows that stand, those configured, and joins",
        role="view", panel=True,
    ),
    Row(
        "PUT", "/joins/{join}", put_join, "Join zones on purpose, as one group",
        models.Zones, True, statuses=(404, 409, 422), role="manage",
    ),
    Row(
        "DELETE", "/joins/{join}", delete_join, "End a join", None, True, statuses=(404,), role="manage",
    ),
    Row(
        "GET", "/microphones", get_microphones, "Where microphones are, whether open, and where they are heard",
        role="view", panel=True,
    ),
    Row(
        "PUT", "/microphones/{microphone}", put_microphone, "Use a radio microphone in another zone",
        models.Assignment, True, statuses=(404, 409, 422), role="operate",
    ),
)  # fmt: skip
