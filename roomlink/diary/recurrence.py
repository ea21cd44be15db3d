"""Recurrence by RFC 5545, expanded to instants before the core sees it: rules count in the venue's local time.

A weekly event at 09:00 stays at 09:00 when the clocks change, so its instants are an hour off then. Local times that do
not exist, or exist twice, are read as RFC 5545 §3.3.5 says. Every date lasts as long, in real time, as the first.

How far: ``limits.BOOKING_AHEAD_S`` (400 days) from now or from the first date, whichever is later. A rule that goes on
beyond is expanded further each day by ``runtime/schedules.py``, as a journalled command.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr  # type: ignore[import-untyped]  # it publishes no types

from roomlink import limits
from roomlink.core.bookings import key_of, start_of
from roomlink.errors import BadValue

_BY = ("BYMONTH", "BYDAY", "BYHOUR", "BYMINUTE", "BYSETPOS")
PARTS: dict[str, tuple[str, ...]] = {
    "YEARLY": (*_BY, "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO"),
    "MONTHLY": (*_BY, "BYMONTHDAY"),
    "WEEKLY": _BY,
    "DAILY": ("BYMONTH", "BYDAY", "BYHOUR", "BYMINUTE", "BYMONTHDAY"),
    "HOURLY": ("BYDAY", "BYHOUR", "BYMINUTE"),
}
"""By frequency, the parts that are taken: those of the RFC's table that can be expanded within bounds.

Rules by minutes or seconds are no bookings, and BYSECOND would only make them so.
"""
COMMON = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST")
RULE_CHARS_MAX = 500
INTERVAL_MAX = 1000
_LONGEST_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_NUMBERS = {
    "BYMONTH": (1, 12, False),
    "BYMONTHDAY": (1, 31, True),
    "BYYEARDAY": (1, 366, True),
    "BYWEEKNO": (1, 53, True),
    "BYHOUR": (0, 23, False),
    "BYMINUTE": (0, 59, False),
    "BYSETPOS": (1, 366, True),
}
"""Part to its least and greatest number, and whether it may be negative."""
_NUMBER = re.compile(r"[+-]?\d{1,4}")
_DAY = re.compile(r"([+-]?\d{1,2})?(?:MO|TU|WE|TH|FR|SA|SU)")
_UNTIL = re.compile(r"(\d{8})(?:T(\d{6})(Z?))?")


@dataclass(frozen=True, slots=True)
class Rule:
    """An RFC 5545 rule that was proved sound. ``until`` is a stamp, the last at which it may start, or None."""

    text: str
    freq: str
    count: int | None
    until: float | None
    rest: str
    """The rule without COUNT and UNTIL, which are counted here, in instants."""


@dataclass(frozen=True, slots=True)
class Expansion:
    """The stamps at which something starts, in order. ``upto``: how far that was looked, None if these are all."""

    starts: tuple[float, ...]
    upto: float | None


# Local time and instants


def instant(local: datetime, zone: ZoneInfo) -> float:
    """The stamp of a local time (a naive ``datetime``), by RFC 5545 §3.3.5.

    A time that exists twice is the first; one that does not exist is taken with the offset before the gap.
    """
    # ``fold=0`` is both: the earlier of two, and in a gap the offset from before it. Going by UTC keeps the
    # difference of two local times in one zone out of it, which Python counts by the clock on the wall.
    return local.replace(tzinfo=zone, fold=0).astimezone(UTC).timestamp()


def local(stamp: float, zone: ZoneInfo) -> datetime:
    """The local time of a stamp, naive, to the second."""
    return datetime.fromtimestamp(stamp, zone).replace(tzinfo=None, microsecond=0)


def read_time(field: str, text: str, timezone: str) -> float:
    """An RFC 3339 time, or one without an offset in the venue's time zone, as a stamp. Raises ``BadValue``."""
    try:
        when = datetime.fromisoformat(text.strip())
        stamp = when.timestamp() if when.tzinfo is not None else instant(when, ZoneInfo(timezone))
        if not 0.0 <= stamp <= limits.BOOKING_STAMP_MAX:
            raise ValueError
    except (ValueError, OverflowError):
        right = "2026-05-01T19:30:00-03:00, or 2026-05-01T19:30 in the venue's time zone"
        raise BadValue(field, f"{text[:60]!r} is no time such as {right}") from None
    return stamp


# Rules


def parse(text: str, timezone: str) -> Rule:
    """A rule such as ``FREQ=WEEKLY;BYDAY=MO;COUNT=10``, proved sound. Raises ``BadValue`` that says what would be."""
    text = text.strip().upper().removeprefix("RRULE:")
    if len(text) > RULE_CHARS_MAX:
        raise BadValue("rrule", f"a rule has at most {RULE_CHARS_MAX} characters")
    parts: dict[str, str] = {}
    for part in text.split(";"):
        name, equals, value = part.partition("=")
        if not equals or not value or name in parts:
            raise BadValue("rrule", f"{part!r} is not one NAME=VALUE, as in FREQ=WEEKLY;BYDAY=MO;COUNT=10")
        parts[name] = value
    freq = parts.get("FREQ", "")
    if freq not in PARTS:
        raise BadValue("rrule", f"FREQ={freq or '?'} is not one of {', '.join(PARTS)}", allowed=list(PARTS))
    allowed = (*COMMON, *PARTS[freq])
    for name in parts:
        if name not in allowed:
            raise BadValue("rrule", f"{name} does not go with FREQ={freq}: {', '.join(allowed)}", allowed=list(allowed))
    if "COUNT" in parts and "UNTIL" in parts:
        raise BadValue("rrule", "a rule has COUNT or UNTIL, not both")
    if "BYSETPOS" in parts and not any(name.startswith("BY") and name != "BYSETPOS" for name in parts):
        raise BadValue("rrule", "BYSETPOS picks from what another BY part gives: add one")
    _whole(parts, "INTERVAL", INTERVAL_MAX)
    count = _whole(parts, "COUNT", 1_000_000)
    until = _until(parts["UNTIL"], ZoneInfo(timezone)) if "UNTIL" in parts else None
    _ranges(parts)
    _possible(parts)
    rest = ";".join(f"{name}={value}" for name, value in parts.items() if name not in ("COUNT", "UNTIL"))
    rule = Rule(text, freq, count, until, rest)
    _iterator(rule, local(0.0, ZoneInfo(timezone)))
    return rule


def _whole(parts: dict[str, str], name: str, most: int) -> int | None:
    text = parts.get(name)
    if text is None:
        return None
    if not text.isdecimal() or not 1 <= int(text[:10]) <= most:
        raise BadValue("rrule", f"{name}={text[:20]} is not a whole number from 1 to {most}")
    return int(text)


def _ranges(parts: dict[str, str]) -> None:
    """Refuse numbers that no date has: the library would look for them until the year 9999."""
    for name, value in parts.items():
        if name == "BYDAY":
            most = {"MONTHLY": 5, "YEARLY": 53}.get(parts["FREQ"], 0)
            for day in value.split(","):
                found = _DAY.fullmatch(day)
                if found is None or (found[1] and not 1 <= abs(int(found[1])) <= most):
                    nth = f", or such as 1MO and -1FR, up to {most}" if most else ""
                    raise BadValue("rrule", f"BYDAY={day} is not one of MO, TU, WE, TH, FR, SA, SU{nth}")
        elif name in _NUMBERS:
            lo, hi, negative = _NUMBERS[name]
            for text in value.split(","):
                number = int(text) if _NUMBER.fullmatch(text) else hi + 1
                if not lo <= (abs(number) if negative else number) <= hi:
                    sign = ", or negative from the end" if negative else ""
                    raise BadValue("rrule", f"{name}={text} is not a number from {lo} to {hi}{sign}")


def _until(text: str, zone: ZoneInfo) -> float:
    """The last instant at which it may start. The RFC asks for UTC here; other calendars also write local times and
    dates, which are read in the venue's time zone, a date up to its end."""
    found = _UNTIL.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        if found[2] is None:
            return instant(datetime.strptime(found[1], "%Y%m%d") + timedelta(days=1), zone) - 1.0  # noqa: DTZ007 - local
        when = datetime.strptime(found[1] + found[2], "%Y%m%d%H%M%S")  # noqa: DTZ007 - UTC or local, told by the Z
        return when.replace(tzinfo=UTC).timestamp() if found[3] else instant(when, zone)
    except (ValueError, OverflowError):
        raise BadValue("rrule", f"UNTIL={text[:40]} is no UTC time such as 20261224T230000Z") from None


def _possible(parts: dict[str, str]) -> None:
    """Refuse days that no month has: looking for them would take for ever."""
    if "BYMONTHDAY" not in parts or "BYMONTH" not in parts:
        return
    days = [abs(int(day)) for day in parts["BYMONTHDAY"].split(",")]
    months = [int(month) for month in parts["BYMONTH"].split(",")]
    if not any(day <= _LONGEST_MONTH[month - 1] for day in days for month in months):
        raise BadValue("rrule", f"no month {parts['BYMONTH']} has a day {parts['BYMONTHDAY']}")


def _iterator(rule: Rule, start: datetime) -> Iterator[datetime]:
    """Local times by the rule, COUNT and UNTIL left aside. Raises ``BadValue`` for values that no rule can have."""
    try:
        return iter(rrulestr(rule.rest, dtstart=start))
    except (ValueError, TypeError, KeyError, IndexError) as error:
        raise BadValue("rrule", f"{rule.text} is no rule by RFC 5545 ({error})") from None


def read_dates(field: str, texts: Iterable[str], timezone: str) -> tuple[str, ...]:
    """Dates added or left out, as their keys, in order. Keys themselves are taken too."""
    found = set()
    for text in texts:
        # A key is a time as well, written without dashes and colons.
        found.add(key_of(read_time(field, text, timezone)))
    return tuple(sorted(found))


def expand(
    start: float,
    timezone: str,
    rule: Rule | None,
    rdates: Iterable[str] = (),
    exdates: Iterable[str] = (),
    *,
    upto: float,
    after: float = -math.inf,
) -> Expansion:
    """All starts up to the stamp ``upto``: ``start``, what the rule gives, ``rdates`` (keys), without ``exdates``.

    With ``after`` only those after that stamp: what a rule gives beyond the ``upto`` of an earlier expansion.

    ``start`` counts as the first even where the rule would not give it. Call it in a thread: a rule that matches
    seldom takes its time. Raises ``BadValue`` for more than ``limits.OCCURRENCES_OF_ONE_MAX``.
    """
    zone = ZoneInfo(timezone)
    found = {start} if rule is None else set()
    complete = True
    if rule is not None:
        for n, at in enumerate(_instants(rule, start, zone)):
            if (rule.count is not None and n >= rule.count) or (rule.until is not None and at > rule.until and n > 0):
                break
            if at > upto:
                complete = False
                break
            if at > after:
                found.add(at)
            if len(found) > limits.OCCURRENCES_OF_ONE_MAX:
                most = limits.OCCURRENCES_OF_ONE_MAX
                text = f"it recurs more than {most} times by {key_of(upto)}: give COUNT or UNTIL, or recur less often"
                raise BadValue("rrule", text, maximum=most)
    found |= {start_of(key) for key in rdates}
    out = set(exdates)
    starts = tuple(sorted(at for at in found if at > after and key_of(at) not in out))
    if not starts and after == -math.inf:
        raise BadValue("exdates", "every date is left out: nothing would be booked")
    return Expansion(starts, None if complete else upto)


def _instants(rule: Rule, start: float, zone: ZoneInfo) -> Iterator[float]:
    """``start``, then what the rule gives after it, each instant once and in order.

    Clocks that go forward can make two local times the same instant, and by the hour even change their order.
    """
    yield start
    first = local(start, zone)
    last = start
    for at in _iterator(rule, first):
        stamp = instant(at, zone)
        if stamp > last:
            last = stamp
            yield stamp
