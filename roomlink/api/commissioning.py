"""HTTP handlers for commissioning: what there is to check on site, and what somebody found."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api import models
from roomlink.api.encoding import Json
from roomlink.api.rest import actor, carry_out, parse, state
from roomlink.core import view
from roomlink.core.commands import RecordCheck


async def get_commissioning(request: Request) -> Response:
    return Json(view.commissioning(state(request)))


async def put_check(request: Request) -> Response:
    body = await parse(request, models.Check)
    where = request.path_params
    item = f"{where['kind']}/{where['of']}/{where['check']}"
    command = RecordCheck(actor(request), item, body.result, body.who, body.measured, body.unit, body.note)
    return await carry_out(request, command, body)
