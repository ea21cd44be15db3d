"""iCalendar in (RFC 5545): a file becomes events with their times as instants, and a finding for all else.

Nothing here raises for what is in a file, however broken: whatever cannot be read is a ``Finding`` with the line on
which its component begins. A file whose components are not whole (cut off, wrongly nested) is refused as a whole,
because nobody could say what is missing.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import recurring_ical_events  # type: ignore[import-untyped]  # it publishes none

from roomlink.core.discretion import HIDDEN
from roomlink.diary import ical_values as values
from roomlink.diary.ical_values import Component, Frame, Unsound

COMPONENTS_MAX = 5_000
"""Components in one file."""
DATES_MAX = 2_000
"""Dates of one event within the window."""
UID_CHARS_MAX = 200
READ_S_MAX = 20.0
"""A file may make work by rules that match hardly ever. What is not read by then is refused, and said."""
OWN = "X-ROOMLINK-"
"""Begins the names of what we say of a booking and iCalendar has no word for."""
_METHODS = ("", "PUBLISH", "REQUEST", "ADD", "CANCEL")
_BROKEN = (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError, ArithmeticError)


@dataclass(frozen=True, slots=True)
class Change:
    """One date that differs from its series. ``key`` is when the rule had it, as a RECURRENCE-ID in UTC."""

    key: str
    start: float
    end: float
    summary: str
    places: tuple[str, ...]
    status: str = "CONFIRMED"


@dataclass(frozen=True, slots=True)
class CalendarEvent:
    """One UID. Stamps in seconds, times half-open.

    ``start`` and ``end`` are those of the first date, ``starts`` all dates within the window that the rule, RDATE and
    EXDATE give. ``rule`` is the RRULE; ``endless`` says that it goes on beyond the window, ``elsewhere`` that it
    follows the clock of another place than the venue. ``rdates``, ``exdates`` and the keys of ``changes`` name dates.
    ``whole`` is false where the file holds single dates without the event that they are part of.
    """

    uid: str
    line: int
    sequence: int
    summary: str
    places: tuple[str, ...] = ()
    status: str = "CONFIRMED"
    start: float = 0.0
    end: float = 0.0
    starts: tuple[float, ...] = ()
    rule: str = ""
    endless: bool = False
    elsewhere: bool = False
    rdates: tuple[str, ...] = ()
    exdates: tuple[str, ...] = ()
    changes: tuple[Change, ...] = ()
    whole: bool = True
    free: bool = False
    private: bool = False
    attendance: int | None = None
    scene: str | None = None
    set_up: float | None = None
    clear_down: float | None = None


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


def read_calendar(data: bytes, timezone: str, start: float, end: float) -> CalendarFile:
    """The events of a file, with their dates within [``start``, ``end``), stamps in seconds.

    Floating and all-day times are those of ``timezone``. Takes time for large files: call it in a thread.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return CalendarFile(fault=f"the file is not UTF-8 (byte {error.start}), as RFC 5545 asks for")
    lines, fault = structure(text)
    if fault:
        return CalendarFile(fault=fault)
    try:
        calendars = icalendar.Calendar.from_ical(text, multiple=True)
    except OSError:
        # A region without its place: the library opens a folder of the time zones.
        return CalendarFile(fault="a TZID in the file names no time zone such as America/Halifax")
    except _BROKEN as error:
        return CalendarFile(fault=f"the file cannot be read as iCalendar: {values.first_line(error)}")
    frame = Frame(ZoneInfo(timezone), start, end)
    places = iter(lines)
    events: list[CalendarEvent] = []
    findings: list[Finding] = []
    for calendar in calendars:
        _read(calendar, places, frame, events, findings)
    return CalendarFile(tuple(events), tuple(sorted(findings, key=lambda f: f.line)))


def structure(text: str) -> tuple[list[int], str]:
    """The lines on which the components directly within calendars begin, in order; or why the nesting is broken."""
    lines: list[int] = []
    stack: list[tuple[str, int]] = []
    calendars = 0
    for number, raw in enumerate(text.splitlines(), start=1):
        # A folded line goes on with a space: it never begins a component.
        word, _, name = raw.partition(":")
        word, name = word.upper(), name.strip().upper()
        if word == "BEGIN":
            if not stack and name != "VCALENDAR":
                return [], f"line {number}: {name[:40]} stands outside a calendar, which begins with BEGIN:VCALENDAR"
            calendars += not stack
            if len(stack) == 1:
                lines.append(number)
            stack.append((name, number))
        elif word == "END":
            if not stack or stack[-1][0] != name:
                standing = f"{stack[-1][0]} of line {stack[-1][1]} is open" if stack else "nothing is open"
                return [], f"line {number}: END:{name[:40]} does not fit, {standing}"
            stack.pop()
        elif raw.strip() and not stack:
            return [], f"line {number}: there is text outside a calendar, which begins with BEGIN:VCALENDAR"
    if stack:
        return [], f"the file is cut off: {stack[-1][0]} of line {stack[-1][1]} has no end"
    if not calendars:
        return [], "the file is empty: there is no BEGIN:VCALENDAR"
    if len(lines) > COMPONENTS_MAX:
        return [], f"the file has {len(lines)} components, and at most {COMPONENTS_MAX} are read at once"
    return lines, ""


def _read(
    calendar: Component, lines: Iterator[int], frame: Frame, events: list[CalendarEvent], findings: list[Finding]
) -> None:
    """One VCALENDAR: events by UID, and everything else told."""
    method = values.text(calendar, "METHOD").upper()
    by_uid: dict[str, list[tuple[int, Component]]] = {}
    for component in calendar.subcomponents:
        line = next(lines, 0)
        name, uid = str(component.name), str(component.get("UID") or "")
        why, outcome = "", "ignored"
        if name == "VTIMEZONE":
            continue
        if name != "VEVENT":
            why = "only a VEVENT can be a booking"
        elif method not in _METHODS:
            why = f"METHOD:{method} is part of a conversation about a meeting, not a booking"
        elif not uid or len(uid) > UID_CHARS_MAX or not uid.isprintable():
            outcome, why = "refused", f"a UID of 1 to {UID_CHARS_MAX} characters is needed to find it again"
        if why:
            findings.append(Finding(line, name, outcome, why, values.clean(uid), _title(component)))
        else:
            by_uid.setdefault(uid, []).append((line, component))
    zones = [c for c in calendar.subcomponents if c.name == "VTIMEZONE"]
    ends = time.monotonic() + READ_S_MAX
    for uid, parts in by_uid.items():
        line, first = parts[0]
        try:
            if time.monotonic() > ends:
                raise Unsound("the events before it took too long to read; send it in a file of its own")
            for _, component in parts:
                values.require_sound(component, frame)
            event = _event(uid, [c for _, c in parts], zones, frame)
            events.append(_called_off(replace(event, line=line)) if method == "CANCEL" else replace(event, line=line))
        except Unsound as unsound:
            findings.append(_refused(line, uid, first, str(unsound)))
        except _BROKEN as error:
            # A property can hold anything, such as a length where a time belongs; the library takes it as it comes.
            findings.append(_refused(line, uid, first, f"it cannot be read: {values.first_line(error)}"))


def _title(component: Component) -> str:
    """For findings, which everybody may read."""
    return HIDDEN if values.is_private(component) else values.text(component, "SUMMARY")


def _refused(line: int, uid: str, component: Component, why: str) -> Finding:
    return Finding(line, "VEVENT", "refused", why, values.clean(uid), _title(component))


def _called_off(event: CalendarEvent) -> CalendarEvent:
    """METHOD:CANCEL: the event, or the single dates that are named, are off."""
    if event.whole:
        return replace(event, status="CANCELLED")
    return replace(event, changes=tuple(replace(change, status="CANCELLED") for change in event.changes))


def _event(uid: str, parts: list[Component], zones: list[Component], frame: Frame) -> CalendarEvent:
    """One UID. Raises ``Unsound``."""
    masters = [c for c in parts if "RECURRENCE-ID" not in c]
    changes = tuple(_change(c, frame) for c in parts if "RECURRENCE-ID" in c)
    # Several of one UID are versions of the same event: only the latest counts, with the exceptions to it.
    main = max(masters or parts, key=values.sequence)
    event = CalendarEvent(
        uid,
        0,
        max(values.sequence(c) for c in parts),
        values.text(main, "SUMMARY"),
        values.places(main),
        values.status(main) if masters else "CONFIRMED",
        changes=changes,
        whole=bool(masters),
        free=values.is_free(main),
        private=values.is_private(main),
        attendance=values.whole(main, OWN + "ATTENDANCE"),
        scene=values.text(main, OWN + "SCENE") or None,
        set_up=values.seconds(main, OWN + "SET-UP"),
        clear_down=values.seconds(main, OWN + "CLEAR-DOWN"),
    )
    return _dated(event, main, zones, frame) if masters else event


def _change(component: Component, frame: Frame) -> Change:
    start, end = values.span(component, frame)
    # A single date that takes no room any more is one date less.
    status = "CANCELLED" if values.is_free(component) else values.status(component)
    key = values.key(component["RECURRENCE-ID"].dt, frame)
    return Change(key, start, end, values.text(component, "SUMMARY"), values.places(component), status)


def _dated(event: CalendarEvent, main: Component, zones: list[Component], frame: Frame) -> CalendarEvent:
    """The event with all its dates."""
    start, end = values.span(main, frame)
    event = replace(event, start=start, end=end, starts=(start,))
    if not any(name in main for name in ("RRULE", "RDATE", "EXDATE")):
        return event
    rule = main.get("RRULE")
    dates = _expanded(main, zones, frame)
    own = {change.key for change in event.changes}
    # Dates whose length is not that of the first are changes too: periods, and days on which the clocks are changed.
    differing = [
        Change(values.key(datetime.fromtimestamp(s, UTC), frame), s, e, event.summary, event.places)
        for s, e in dates
        if abs((e - s) - (end - start)) > 0.5
    ]
    return replace(
        event,
        starts=tuple(s for s, _ in dates),
        rule="" if rule is None else rule.to_ical().decode(),
        endless=rule is not None and _goes_on(rule, frame),
        elsewhere=rule is not None and _elsewhere(main["DTSTART"].dt, frame),
        rdates=tuple(values.key(moment, frame) for moment, _ in values.moments(main, "RDATE")),
        exdates=tuple(values.key(moment, frame) for moment, _ in values.moments(main, "EXDATE")),
        changes=(*event.changes, *(change for change in differing if change.key not in own)),
    )


def _expanded(main: Component, zones: list[Component], frame: Frame) -> list[tuple[float, float]]:
    """The dates of a series within the window, in order. Raises ``Unsound``."""
    calendar: Any = icalendar.Calendar()
    calendar.subcomponents = [*zones, main]
    first, last = datetime.fromtimestamp(frame.start, UTC), datetime.fromtimestamp(frame.end, UTC)
    try:
        found = recurring_ical_events.of(calendar, components=["VEVENT"]).between(first, last)
    except _BROKEN as error:
        raise Unsound(f"its dates cannot be worked out: {values.first_line(error)}") from None
    start, end = values.span(main, frame)
    usual = _on_the_clock(main, frame)
    dates: dict[float, float] = {}
    for one in found:
        begins, ends = values.span(one, frame)
        # RFC 5545 §3.8.5.3: the exact length of the first holds for all, whatever the clocks show.
        if isinstance(one["DTSTART"].dt, datetime) and _on_the_clock(one, frame) == usual:
            ends = begins + (end - start)
        if begins < frame.end and ends > frame.start:
            dates[begins] = ends
    if len(dates) > DATES_MAX:
        raise Unsound(f"it has {len(dates)} dates; at most {DATES_MAX} are taken")
    return sorted(dates.items())


def _on_the_clock(component: Component, frame: Frame) -> float:
    """How long it seems to last by the clock on the wall."""
    if "DTEND" not in component:
        begins, ends = values.span(component, frame)
        return ends - begins
    start, end = component["DTSTART"].dt, component["DTEND"].dt
    if not isinstance(start, datetime):
        return float((end - start).total_seconds())
    return float((end.replace(tzinfo=None) - start.replace(tzinfo=None)).total_seconds())


def _goes_on(rule: Any, frame: Frame) -> bool:
    until = (rule.get("UNTIL") or [None])[0]
    return until is None or values.stamp(until, frame) > frame.end


def _elsewhere(start: Any, frame: Frame) -> bool:
    """Whether a rule follows another clock than the venue's: they differ in winter or in summer."""
    if not isinstance(start, datetime) or start.tzinfo is None:
        return False
    naive = start.replace(tzinfo=None)
    probes = [naive.replace(month=month, day=1) for month in range(1, 13)]
    return any(p.replace(tzinfo=start.tzinfo).utcoffset() != p.replace(tzinfo=frame.zone).utcoffset() for p in probes)
