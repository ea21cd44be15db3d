"""HTTP handlers of the turn list: which walls by when, and ticking them off."""

from __future__ import annotations

from datetime import date

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from roomlink import limits
from roomlink.api import identity
from roomlink.api.encoding import Json
from roomlink.api.models import Body
from roomlink.api.rest import actor, carry_out, parse, state, writer
from roomlink.core import turn_view
from roomlink.core.checks import require
from roomlink.core.commands import TickMove
from roomlink.core.instants import day_of
from roomlink.errors import BadValue

QUERY = (
    ("day", "the day on the venue's clock, such as 2026-05-01; today if not given"),
    ("zone", "only turns that take this zone"),
)
YEARS = (1970, 9000)


class TickBody(Body):
    """Whether a move is made."""

    done: bool
    note: str = Field("", max_length=limits.TICK_NOTE_CHARS_MAX, description="for whoever reads it later")


def _day(request: Request, now: float) -> int:
    text = request.query_params.get("day")
    if text is None:
        return day_of(state(request).spec.timezone, now)
    try:
        day = date.fromisoformat(text)
        if len(text) != len("2026-05-01") or not YEARS[0] <= day.year < YEARS[1]:
            raise ValueError
    except ValueError:
        raise BadValue("day", f"{text[:40]!r} is no day such as 2026-05-01") from None
    return day.toordinal()


async def get_turns(request: Request) -> Response:
    now = writer(request).clock.stamp()
    zone = request.query_params.get("zone")
    if zone is not None:
        require("zone", zone, state(request).spec.zones)
    may_see = identity.may_see(request)
    return Json(turn_view.day(state(request), _day(request, now), now, zone, may_see=may_see))


async def put_tick(request: Request) -> Response:
    body = await parse(request, TickBody)
    path = request.path_params
    return await carry_out(
        request, TickMove(actor(request), path["partition"], path["key"], body.done, body.note), body
    )
