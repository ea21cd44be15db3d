"""iCalendar in (RFC 5545): a file becomes events with their times as instants, and a finding for all else.

Nothing here raises for what is in a file, however broken: whatever cannot be read is a ``Finding`` with the line on
which its component begins. A file whose components are not whole (cut off, wrongly nested) is refused as a whole,
because nobody could say what is missing.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import recurring_ical_events  # type: ignore[import-untyped]  # it publishes none

Component = Any
"""A component as the library gives it; what a property holds is known only once it was looked at."""

EVENTS_MAX = 5_000
"""Events in one file."""
TIMES_MAX = 2_000
"""Times of one event within the window."""
TEXT_CHARS_MAX = 200
"""Characters of a summary or a place that are kept."""
UID_CHARS_MAX = 255
FREQUENCIES = ("HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY")
"""What may recur. A rule by seconds or minutes is no booking, and could keep a machine busy for hours."""
STATUSES = ("CONFIRMED", "TENTATIVE", "CANCELLED")
_TAKEN_METHODS = ("", "PUBLISH", "REQUEST", "ADD", "CANCEL")
_TIMES = ("DTSTART", "DTEND", "RECURRENCE-ID", "EXDATE", "RDATE")


@dataclass(frozen=True, slots=True)
class Time:
    """One time of an event. ``key`` names it within its event: the UTC time at which the rule had it, as written in
    a RECURRENCE-ID (``20240324T053000Z``); empty for an event that happens once. Stamps in seconds, half-open."""

    key: str
    start: float
    end: float
    summary: str
    places: tuple[str, ...]
    status: str = "CONFIRMED"
    private: bool = False


@dataclass(frozen=True, slots=True)
class CalendarEvent:
    """One UID: its times within the window, exceptions folded in.

    ``whole`` is false where the file holds single times (RECURRENCE-ID) without the event that they are part of.
    ``free`` says that it takes no room (TRANSPARENT), ``cancelled`` that all of it is off, and then ``off`` holds the
    single times that are off where it is not ``whole``.
    """

    uid: str
    line: int
    sequence: int
    summary: str
    times: tuple[Time, ...] = ()
    whole: bool = True
    cancelled: bool = False
    free: bool = False
    off: tuple[str, ...] = ()
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A component that is not taken: ``ignored`` as it is no booking, or ``refused`` as it is not sound."""

    line: int
    component: str
    outcome: str
    why: str
    uid: str = ""
    summary: str = ""


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """What a file holds. ``fault`` says why nothing of it can be used; then the rest is empty."""

    events: tuple[CalendarEvent, ...] = ()
    findings: tuple[Finding, ...] = ()
    fault: str = ""


class Unsound(Exception):
    """A component cannot be taken; the text is for a person."""


@dataclass(slots=True)
class _Frame:
    """What reading needs to know: the venue's time zone for floating and all-day times, and the window of stamps."""

    zone: ZoneInfo
    start: float
    end: float
    known_zones: set[str] = field(default_factory=set)


def read_calendar(data: bytes, timezone: str, start: float, end: float) -> CalendarFile:
    """The events of a file that have times within [``start``, ``end``), stamps in seconds.

    Floating and all-day times are those of ``timezone``. Takes time for large files: call it in a thread.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return CalendarFile(fault=f"the file is not UTF-8 (byte {error.start}), as RFC 5545 asks for")
    places, fault = structure(text)
    if fault:
        return CalendarFile(fault=fault)
    try:
        calendars = icalendar.Calendar.from_ical(text, multiple=True)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        return CalendarFile(fault=f"the file cannot be read as iCalendar: {_first_line(error)}")
    frame = _Frame(ZoneInfo(timezone), start, end)
    lines = iter(places)
    events: list[CalendarEvent] = []
    findings: list[Finding] = []
    for calendar in calendars:
        _read(calendar, lines, frame, events, findings)
    return CalendarFile(tuple(events), tuple(sorted(findings, key=lambda f: f.line)))


def structure(text: str) -> tuple[list[int], str]:
    """The lines on which the components directly within calendars begin, in order; or why the nesting is broken."""
    places: list[int] = []
    stack: list[tuple[str, int]] = []
    calendars = 0
    for number, raw in enumerate(text.splitlines(), start=1):
        # A folded line goes on with a space: it never begins a component.
        word, _, name = raw.partition(":")
        word, name = word.upper(), name.strip().upper()
        if word == "BEGIN":
            if not stack and name != "VCALENDAR":
                return [], f"line {number}: {name} stands outside a calendar; a file begins with BEGIN:VCALENDAR"
            calendars += not stack
            if len(stack) == 1:
                places.append(number)
            stack.append((name, number))
        elif word == "END":
            if not stack or stack[-1][0] != name:
                open_ = f"{stack[-1][0]} of line {stack[-1][1]} is open" if stack else "nothing is open"
                return [], f"line {number}: END:{name[:40]} does not fit, {open_}"
            stack.pop()
        elif raw.strip() and not stack:
            return [], f"line {number}: there is text outside a calendar; a file begins with BEGIN:VCALENDAR"
    if stack:
        return [], f"the file is cut off: {stack[-1][0]} of line {stack[-1][1]} has no end"
    if not calendars:
        return [], "the file is empty: there is no BEGIN:VCALENDAR"
    if len(places) > EVENTS_MAX:
        return [], f"the file has {len(places)} components, and at most {EVENTS_MAX} are read at once"
    return places, ""


def _read(
    calendar: Component,
    lines: Iterator[int],
    frame: _Frame,
    events: list[CalendarEvent],
    findings: list[Finding],
) -> None:
    """One VCALENDAR: events by UID, and everything else told."""
    method = _text(calendar, "METHOD").upper()
    by_uid: dict[str, list[tuple[int, Component]]] = {}
    zones: list[Component] = []
    for component in calendar.subcomponents:
        line = next(lines, 0)
        name, uid, summary = str(component.name), _text(component, "UID"), _text(component, "SUMMARY")
        if name == "VTIMEZONE":
            zones.append(component)
            frame.known_zones.add(_text(component, "TZID"))
        elif name != "VEVENT":
            findings.append(Finding(line, name, "ignored", "only VEVENT can be a booking", uid, summary))
        elif method not in _TAKEN_METHODS:
            why = f"METHOD:{method} is part of a conversation about a meeting, not a booking"
            findings.append(Finding(line, name, "ignored", why, uid, summary))
        elif not uid or len(uid) > UID_CHARS_MAX:
            why = f"it has a UID of {len(uid)} characters, at most {UID_CHARS_MAX}" if uid else "it has no UID"
            findings.append(
                Finding(line, name, "refused", f"{why}, so that later changes could not find it", "", summary)
            )
        else:
            by_uid.setdefault(uid, []).append((line, component))
    for uid, parts in by_uid.items():
        try:
            events.append(_event(uid, parts, zones, frame, off=method == "CANCEL"))
        except Unsound as unsound:
            line, first = parts[0]
            findings.append(Finding(line, "VEVENT", "refused", str(unsound), uid, _text(first, "SUMMARY")))


def _event(
    uid: str,
    parts: list[tuple[int, Component]],
    zones: list[Component],
    frame: _Frame,
    *,
    off: bool,
) -> CalendarEvent:
    """One UID. Raises ``Unsound``."""
    for line, component in parts:
        _sound(component, line, frame)
    masters = [c for _, c in parts if "RECURRENCE-ID" not in c]
    latest = max(masters or [c for _, c in parts], key=_sequence)
    # Several masters of one UID are versions of the same event: only the latest counts, with the exceptions to it.
    singles = [c for _, c in parts if "RECURRENCE-ID" in c]
    summary, sequence = _text(latest, "SUMMARY"), max(_sequence(c) for _, c in parts)
    event = CalendarEvent(uid, parts[0][0], sequence, summary, whole=bool(masters), digest=_digest(parts))
    if masters and (off or _status(latest) == "CANCELLED"):
        return replace(event, cancelled=True)
    if masters and _text(latest, "TRANSP").upper() == "TRANSPARENT":
        return replace(event, free=True)
    gone = tuple(_key(c, frame) for c in singles if off or _status(c) == "CANCELLED") if not masters else ()
    if off:
        return replace(event, off=gone)
    times = _times([latest, *singles] if masters else singles, zones, frame)
    return replace(event, times=times, off=gone)


def _times(components: list[Component], zones: list[Component], frame: _Frame) -> tuple[Time, ...]:
    """All times within the window. Raises ``Unsound``."""
    calendar = icalendar.Calendar()
    calendar.subcomponents = [*zones, *components]
    first, last = datetime.fromtimestamp(frame.start, UTC), datetime.fromtimestamp(frame.end, UTC)
    try:
        query = recurring_ical_events.of(calendar, components=["VEVENT"])
        found = query.between(first, last)
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, ArithmeticError) as error:
        raise Unsound(f"its times cannot be worked out: {_first_line(error)}") from None
    recurs = any(name in c for c in components for name in ("RRULE", "RDATE", "RECURRENCE-ID"))
    times = []
    for occurrence in found:
        if _status(occurrence) == "CANCELLED" or _text(occurrence, "TRANSP").upper() == "TRANSPARENT":
            continue
        start, end = _span(occurrence, frame)
        if start >= frame.end or end <= frame.start:
            continue
        times.append(
            Time(
                _key(occurrence, frame) if recurs else "",
                start,
                end,
                _text(occurrence, "SUMMARY"),
                places(occurrence),
                _status(occurrence),
                _text(occurrence, "CLASS").upper() in ("PRIVATE", "CONFIDENTIAL"),
            )
        )
    if len(times) > TIMES_MAX:
        raise Unsound(f"it happens {len(times)} times; at most {TIMES_MAX} are taken")
    return tuple(sorted(times, key=lambda t: (t.start, t.key)))


def _sound(component: Component, line: int, frame: _Frame) -> None:
    """Raise ``Unsound`` for what would otherwise be taken for something else than was meant."""
    if component.errors:
        name, why = component.errors[0]
        raise Unsound(f"line {line} and following: {name or 'a line'} cannot be read: {_first_line(why)}")
    if "DTSTART" not in component:
        raise Unsound("it has no DTSTART")
    if "DTEND" in component and "DURATION" in component:
        raise Unsound("it has both DTEND and DURATION; RFC 5545 allows one")
    for name in _TIMES:
        for value in _listed(component, name):
            tzid = getattr(value, "params", {}).get("TZID")
            for moment in _moments(value):
                if tzid and isinstance(moment, datetime) and moment.tzinfo is None:
                    text = f"{name}: there is no time zone {tzid!r}; send its VTIMEZONE along or use an IANA name"
                    raise Unsound(text)
    for rule in _listed(component, "RRULE"):
        frequency = str((rule.get("FREQ") or [""])[0]).upper()
        if frequency not in FREQUENCIES:
            raise Unsound(
                f"RRULE: FREQ={frequency} is no way for a booking to recur; use one of {', '.join(FREQUENCIES)}"
            )
    if (status := _status(component)) not in STATUSES:
        raise Unsound(f"STATUS:{status} is not known; write {', '.join(STATUSES)}")
    start, end = _span(component, frame)
    if end <= start and not (_status(component) == "CANCELLED"):
        raise Unsound(
            "it has no length: DTSTART alone is a point in time" if end == start else "it ends before it starts"
        )


def _span(component: Component, frame: _Frame) -> tuple[float, float]:
    """Start and end as stamps. RFC 5545 §3.6.1: DTEND is not included; a DATE alone is one day, a DATE-TIME a point."""
    start = component["DTSTART"].dt
    begins = _stamp(start, frame)
    if "DTEND" in component:
        end = component["DTEND"].dt
        if isinstance(end, datetime) != isinstance(start, datetime):
            raise Unsound("DTSTART and DTEND are of different types: write both as DATE or both as DATE-TIME")
        return begins, _stamp(end, frame)
    if "DURATION" in component:
        return begins, _stamp(_plus(start, component["DURATION"].dt, frame), frame)
    if isinstance(start, datetime):
        return begins, begins
    return begins, _stamp(start + timedelta(days=1), frame)


def _plus(start: date, duration: timedelta, frame: _Frame) -> date:
    """RFC 5545 §3.3.6: days are days of the calendar, hours are hours that pass."""
    if not isinstance(start, datetime):
        return start + duration
    days = timedelta(days=duration.days)
    local = start + days
    if local.tzinfo is None:
        local = local.replace(tzinfo=frame.zone)
    return local.astimezone(UTC) + (duration - days)


def _stamp(moment: date, frame: _Frame) -> float:
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time.min)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=frame.zone)
    try:
        return moment.timestamp()
    except (OverflowError, ValueError):
        raise Unsound(f"{moment.isoformat()} lies beyond what can be reckoned with") from None


def _key(component: Component, frame: _Frame) -> str:
    """The name of one time: when the rule had it, in UTC."""
    value = component.get("RECURRENCE-ID") or component["DTSTART"]
    return datetime.fromtimestamp(_stamp(value.dt, frame), UTC).strftime("%Y%m%dT%H%M%SZ")


def places(component: Component) -> tuple[str, ...]:
    """Where it is: LOCATION and RESOURCES as they were written, each once."""
    found = [_clean(str(value)) for value in _listed(component, "LOCATION")]
    for value in _listed(component, "RESOURCES"):
        # RESOURCES is a list; the library gives it as it came where it does not split it.
        names = getattr(value, "cats", None) or str(value).split(",")
        found += [_clean(str(name)) for name in names]
    return tuple(dict.fromkeys(name for name in found if name))


def _listed(component: Component, name: str) -> list[Any]:
    """The values of a property that may be there several times, or not at all."""
    value = component.get(name)
    return [] if value is None else list(value) if isinstance(value, list) else [value]


def _moments(value: Any) -> list[Any]:
    """The dates of a property's value: one, or those of a list; of a period its start."""
    found = [entry.dt for entry in value.dts] if hasattr(value, "dts") else [value.dt]
    return [moment[0] if isinstance(moment, tuple) else moment for moment in found]


def _sequence(component: Mapping[str, Any]) -> int:
    with contextlib.suppress(TypeError, ValueError):
        return int(component.get("SEQUENCE", 0))
    return 0


def _status(component: Mapping[str, Any]) -> str:
    return str(component.get("STATUS") or "CONFIRMED").upper()


def _text(component: Mapping[str, Any], name: str) -> str:
    value = component.get(name)
    return _clean(str(value[0] if isinstance(value, list) else value)) if value is not None else ""


def _clean(text: str) -> str:
    """On one line, without what cannot be shown, and not endless."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return shown if len(shown) <= TEXT_CHARS_MAX else shown[: TEXT_CHARS_MAX - 1] + "…"


def _digest(parts: list[tuple[int, Component]]) -> str:
    """Of what an event says, without when it was said: a feed stamps its events anew each time it is asked."""
    said = []
    for _, component in parts:
        lines = component.to_ical().decode().replace("\r\n ", "").split("\r\n")
        said += [line for line in lines if not line.startswith(("DTSTAMP", "LAST-MODIFIED", "CREATED"))]
    return hashlib.sha256("\n".join(said).encode()).hexdigest()[:16]


def _first_line(error: object) -> str:
    return _clean(str(error).split("\n", 1)[0]) or type(error).__name__
