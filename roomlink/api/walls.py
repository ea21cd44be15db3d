"""HTTP handlers for what people say of walls: whether an open one combines, and named arrangements."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api import models
from roomlink.api.encoding import Json
from roomlink.api.rest import actor, carry_out, parse, state
from roomlink.core import wall_view
from roomlink.core.commands import CombineWall, StateArrangement


async def put_combining(request: Request) -> Response:
    body = await parse(request, models.Combine)
    return await carry_out(request, CombineWall(actor(request), request.path_params["partition"], body.combine), body)


async def get_arrangements(request: Request) -> Response:
    return Json({"arrangements": wall_view.arrangements(state(request))})


async def put_arrangement(request: Request) -> Response:
    body = await parse(request, models.StatedArrangement, optional=True)
    command = StateArrangement(actor(request), request.path_params["arrangement"], body.pin)
    return await carry_out(request, command, body)
