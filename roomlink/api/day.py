"""``/day``: a day of the venue as a drawing, made here so that it is there without any script, and on paper."""

from __future__ import annotations

from datetime import date

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api.rest import state, writer
from roomlink.core import turn_view
from roomlink.core.instants import day_of
from roomlink.diary.day_chart import chart
from roomlink.errors import BadValue

YEARS = (1970, 2999)


async def get_day(request: Request) -> Response:
    """The drawing of the day ``?day=``, today where none is asked for."""
    venue, now = state(request), writer(request).clock.stamp()
    text = request.query_params.get("day", "")
    day = _day(text) if text else date.fromordinal(day_of(venue.spec.timezone, now))
    turns = turn_view.day(venue, day.toordinal(), now)
    return Response(chart(venue, day, now, turns), media_type="image/svg+xml")


def _day(text: str) -> date:
    """A day. Raises ``BadValue``."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if text != day.isoformat() or not YEARS[0] <= day.year <= YEARS[1]:
        raise BadValue("day", f"{text[:40]!r} is no day such as 2026-05-01, of the years {YEARS[0]} to {YEARS[1]}")
    return day
