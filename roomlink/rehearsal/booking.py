"""Bookings in a rehearsal: what a scenario says of one, as the core's commands."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from roomlink.core.bookings import Wish
from roomlink.core.commands import Actor, CancelBooking, CreateBooking
from roomlink.rehearsal.reading import CLOCK

Members = Mapping[str, Any]
ANY = ("*",)


def book(by: Actor, m: Members) -> CreateBooking:
    """Book ``zones`` from ``start`` to ``end``: clock times of this day, or seconds from now."""
    now, timezone, name = m["now"], m["spec"].timezone, m["object"]
    start = stamp(m["start"], now, timezone)
    end = stamp(m["end"], now, timezone)
    if end <= start and isinstance(m["end"], str):
        end = stamp(m["end"], now, timezone, days=1)  # evenings go past midnight
    usual = ("set_up", "clear_down", "attendance", "scene")
    given = {key: m[key] for key in usual if key in m}
    zones = tuple(m["zones"])
    wish = Wish(f"{name}@rehearsal", name, start, end, zones, private=bool(m.get("private")), **given)
    return CreateBooking(by, name, wish)


def cancel(by: Actor, m: Members) -> CancelBooking:
    return CancelBooking(by, m["object"], ANY)


def stamp(when: str | float, now: float, timezone: str, days: int = 0) -> float:
    """The stamp of a clock time of the day of ``now``, so many days on, or of so many seconds from then."""
    if not isinstance(when, str):
        return now + when
    clock = CLOCK.fullmatch(when)
    assert clock is not None, "the reader has looked at it"
    day = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(timezone)) + timedelta(days=days)
    hour, minute, second = (int(part or 0) for part in clock.groups())
    return day.replace(hour=hour, minute=minute, second=second, microsecond=0, fold=0).timestamp()
