"""What stands in a component of iCalendar: times as stamps, texts on one line. ``Unsound`` for what is not sound.

A component is ``Any`` here: what a property holds is known only once it was looked at, as files come from anywhere.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar

from roomlink.diary import recurrence
from roomlink.errors import BadValue

Component = Any

TEXT_CHARS_MAX = 200
"""Characters of a summary or a place that are kept."""
FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
"""How a booking may recur. A rule by hours or less is no booking, and could keep a machine busy for long."""
STATUSES = ("CONFIRMED", "TENTATIVE", "CANCELLED")


class Unsound(Exception):
    """A component cannot be taken; the text is for a person."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The venue's time zone, for floating and all-day times, and the window of stamps that is looked at."""

    zone: ZoneInfo
    start: float
    end: float


def clean(text: str) -> str:
    """On one line, without what cannot be shown, and not endless."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return shown if len(shown) <= TEXT_CHARS_MAX else shown[: TEXT_CHARS_MAX - 1] + "…"


def first_line(error: object) -> str:
    return clean(str(error).split("\n", 1)[0]) or type(error).__name__


def listed(component: Component, name: str) -> list[Any]:
    """The values of a property that may be there several times, or not at all."""
    value = component.get(name)
    return [] if value is None else list(value) if isinstance(value, list) else [value]


def text(component: Component, name: str) -> str:
    return next((clean(str(value)) for value in listed(component, name)), "")


def sequence(component: Component) -> int:
    with contextlib.suppress(TypeError, ValueError):
        return int(component.get("SEQUENCE", 0))
    return 0


def status(component: Component) -> str:
    return text(component, "STATUS").upper() or "CONFIRMED"


def is_free(component: Component) -> bool:
    """RFC 5545 §3.8.2.7: OPAQUE unless it says TRANSPARENT."""
    return text(component, "TRANSP").upper() == "TRANSPARENT"


def is_private(component: Component) -> bool:
    return text(component, "CLASS").upper() in ("PRIVATE", "CONFIDENTIAL")


def places(component: Component) -> tuple[str, ...]:
    """Where it is: LOCATION and RESOURCES as they were written, each once."""
    found = [clean(str(value)) for value in listed(component, "LOCATION")]
    for value in listed(component, "RESOURCES"):
        found += [clean(name) for name in str(value).split(",")]
    return tuple(dict.fromkeys(name for name in found if name))


def stamp(moment: date, frame: Frame) -> float:
    """A DATE is its midnight, and what floats is the venue's own time."""
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time.min)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=frame.zone)
    try:
        return moment.timestamp()
    except (OverflowError, ValueError):
        raise Unsound(f"{moment.isoformat()} lies beyond what can be reckoned with") from None


def key(moment: date, frame: Frame) -> str:
    """The name of one time, as a RECURRENCE-ID in UTC."""
    return datetime.fromtimestamp(stamp(moment, frame), UTC).strftime("%Y%m%dT%H%M%SZ")


def moments(component: Component, name: str) -> list[tuple[date, Any]]:
    """The times of a property, which may be lists of times or of periods; beside each what ends it, or None."""
    found: list[tuple[date, Any]] = []
    for value in listed(component, name):
        for entry in getattr(value, "dts", [value]):
            moment = entry.dt
            found.append(moment if isinstance(moment, tuple) else (moment, None))
    return found


def span(component: Component, frame: Frame) -> tuple[float, float]:
    """Start and end as stamps. RFC 5545 §3.6.1: DTEND is not included; a DATE alone is one day, a DATE-TIME a point."""
    start = component["DTSTART"].dt
    begins = stamp(start, frame)
    if "DTEND" in component:
        end = component["DTEND"].dt
        if isinstance(end, datetime) != isinstance(start, datetime):
            raise Unsound("DTSTART and DTEND are of different types: write both as DATE or both as DATE-TIME")
        return begins, stamp(end, frame)
    if "DURATION" in component:
        return begins, stamp(_plus(start, component["DURATION"].dt, frame), frame)
    if isinstance(start, datetime):
        return begins, begins
    return begins, stamp(start + timedelta(days=1), frame)


def _plus(start: date, duration: timedelta, frame: Frame) -> date:
    """RFC 5545 §3.3.6: days are days of the calendar, hours are hours that pass. (PT24H is read as P1D: the library
    does not tell them apart.)"""
    if not isinstance(start, datetime):
        return start + duration
    days = timedelta(days=duration.days)
    local = start + days
    if local.tzinfo is None:
        local = local.replace(tzinfo=frame.zone)
    return local.astimezone(UTC) + (duration - days)


def seconds(component: Component, name: str) -> float | None:
    """The seconds of a DURATION property of our own; None where there is none that can be read."""
    value = component.get(name)
    if value is None:
        return None
    try:
        # The library leaves what it does not know as text.
        length = icalendar.vDuration.from_ical(str(value)).total_seconds()  # type: ignore[no-untyped-call]  # theirs
    except ValueError:
        raise Unsound(f"{name}: {clean(str(value))!r} is no duration such as PT30M") from None
    return float(length)


def whole(component: Component, name: str) -> int | None:
    """A whole number of a property of our own."""
    value = component.get(name)
    if value is None:
        return None
    if not str(value).isdecimal() or len(str(value)) > 9:
        raise Unsound(f"{name}: {clean(str(value))!r} is not a whole number")
    return int(str(value))


def require_sound(component: Component, frame: Frame) -> None:
    """Raise ``Unsound`` for what would otherwise be taken for something else than was meant."""
    if component.errors:
        name, why = component.errors[0]
        raise Unsound(f"{name or 'a line'} cannot be read: {first_line(why)}")
    if "DTSTART" not in component:
        raise Unsound("it has no DTSTART")
    for name in ("DTSTART", "DTEND", "RRULE", "DURATION", "RECURRENCE-ID", "STATUS"):
        if len(listed(component, name)) > 1:
            raise Unsound(f"it has more than one {name}")
    if "DTEND" in component and "DURATION" in component:
        raise Unsound("it has both DTEND and DURATION; RFC 5545 allows one")
    for name in ("DTSTART", "DTEND", "RECURRENCE-ID", "EXDATE", "RDATE"):
        _require_zone(component, name)
    for rule in listed(component, "RRULE"):
        _require_rule(rule)
    said = status(component)
    if said not in STATUSES:
        raise Unsound(f"STATUS:{said} is not known; write {', '.join(STATUSES)}")
    if "RANGE" in getattr(component.get("RECURRENCE-ID"), "params", {}):
        raise Unsound("RECURRENCE-ID;RANGE is not read; send the series as it is from now on as an event of its own")
    start, end = span(component, frame)
    if said != "CANCELLED" and end <= start:
        raise Unsound(
            "it ends before it starts" if end < start else "it has no length: DTSTART alone is a point in time"
        )


def _require_zone(component: Component, name: str) -> None:
    for value in listed(component, name):
        tzid = getattr(value, "params", {}).get("TZID")
        dates = [entry.dt for entry in getattr(value, "dts", [value])]
        if tzid and any(isinstance(d, datetime) and d.tzinfo is None for d in dates):
            raise Unsound(f"{name}: there is no time zone {tzid!r}; send its VTIMEZONE along or use an IANA name")


def _require_rule(rule: Any) -> None:
    frequency = str((rule.get("FREQ") or [""])[0]).upper()
    if frequency not in FREQUENCIES:
        raise Unsound(f"RRULE: FREQ={frequency} is no way for a booking to recur; use {', '.join(FREQUENCIES)}")
    try:
        recurrence.parse(rule.to_ical().decode(), "UTC")
    except BadValue as error:
        raise Unsound(f"RRULE: {error.detail.removeprefix('rrule: ')}") from None
