"""Stamps as people and programs read them, and the days of a venue.

The rules of time zones are a table that is read once; they tell no time.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo


def rfc3339(stamp: float) -> str:
    """A stamp as RFC 3339 in UTC, to the millisecond."""
    second, micros = divmod(round((stamp % 1.0) * 1e6), 1_000_000)
    return f"{_second(math.floor(stamp) + second)}.{micros // 1000:03}Z"


@lru_cache(maxsize=64)
def _second(stamp: int) -> str:
    """Most stamps that are told are of the last few seconds."""
    return datetime.fromtimestamp(stamp, UTC).isoformat(timespec="seconds").removesuffix("+00:00")


@lru_cache(maxsize=4096)
def of_day(timezone: str, day: int, minutes: int = 0) -> float:
    """The stamp of a time of day, in minutes (1440 and more: of the next), on a day by its ordinal.

    A time that exists twice is the first; one that does not exist is taken with the offset before the gap.
    """
    extra, minutes = divmod(minutes, 1440)
    local = datetime.fromordinal(day + extra) + timedelta(minutes=minutes)
    return local.replace(tzinfo=ZoneInfo(timezone)).timestamp()


def day_of(timezone: str, stamp: float) -> int:
    """The day, by its ordinal, on which a stamp lies on the venue's clock."""
    return datetime.fromtimestamp(stamp, ZoneInfo(timezone)).toordinal()


def clock(timezone: str, stamp: float) -> str:
    """The time of day of a stamp on the venue's clock, as people say it: 19:42."""
    return datetime.fromtimestamp(stamp, ZoneInfo(timezone)).strftime("%H:%M")
