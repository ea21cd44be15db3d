"""HTTP handlers for alarms. An alarm's name may hold a slash, written as it is or as %2F."""

from __future__ import annotations

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink.api.encoding import Json
from roomlink.api.models import Body
from roomlink.api.rest import actor, carry_out, parse, read, state, writer
from roomlink.core import alarm_view
from roomlink.core.alarm_commands import AcknowledgeAlarm, ReturnAlarm, ShelveAlarm, TakeAlarmOut, UnshelveAlarm


class Shelving(Body):
    """For how many seconds, and why."""

    for_: float = Field(alias="for", description="seconds, from a minute to a week")
    why: str


class Reason(Body):
    why: str


def _alarm(request: Request) -> str:
    found: str = request.path_params["alarm"]
    return found


async def get_alarms(request: Request) -> Response:
    return Json(alarm_view.listed(state(request), writer(request).clock.stamp()))


async def post_acknowledge(request: Request) -> Response:
    await read(request)
    return await carry_out(request, AcknowledgeAlarm(actor(request), _alarm(request)))


async def post_shelve(request: Request) -> Response:
    body = await parse(request, Shelving)
    return await carry_out(request, ShelveAlarm(actor(request), _alarm(request), body.for_, body.why), body)


async def post_unshelve(request: Request) -> Response:
    await read(request)
    return await carry_out(request, UnshelveAlarm(actor(request), _alarm(request)))


async def post_out(request: Request) -> Response:
    body = await parse(request, Reason)
    return await carry_out(request, TakeAlarmOut(actor(request), _alarm(request), body.why), body)


async def delete_out(request: Request) -> Response:
    await read(request)
    return await carry_out(request, ReturnAlarm(actor(request), _alarm(request)))
