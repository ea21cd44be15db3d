"""iCalendar out (RFC 5545, names of calendars by RFC 7986): a zone's bookings, and when zones are taken.

What is private is told only as a time in zones. Texts are escaped and lines folded by the library.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar

from roomlink.core.bookings import Booking, Occurrence, start_of
from roomlink.core.diary import date_of, dates_of
from roomlink.core.discretion import HIDDEN
from roomlink.core.state import State
from roomlink.diary.availability import Busy
from roomlink.diary.ical_read import OWN
from roomlink.diary.rooms import Rooms

PRODUCT = "-//roomlink//diary//EN"
Component = Any
"""As in ``ical_values``: the library's components take and give whatever a property holds."""


def zone_calendar(state: State, zone: str) -> bytes:
    """All bookings that have a date in ``zone``, cancelled ones too, so that those who follow can take them away."""
    calendar = _calendar("PUBLISH")
    calendar.add("NAME", state.spec.zones[zone].name)
    rooms = Rooms(state.spec)
    found = []
    for name in state.bookings.live():
        booking, dates = state.bookings[name], dates_of(state, name)
        if zone in booking.zones or any(zone in one.zones for one in dates):
            found.append((booking.start, booking.uid, booking, dates))
    for _, _, booking, dates in sorted(found, key=lambda one: one[:2]):
        for event in events_of(booking, dates, state.spec.timezone, rooms):
            calendar.add_component(event)
    if any("TZID" in event["DTSTART"].params for event in calendar.walk("VEVENT")):
        first = min(datetime.fromtimestamp(booking.start, UTC) for _, _, booking, _ in found)
        calendar.add_missing_timezones(first_date=first.date().replace(month=1, day=1))
    return bytes(calendar.to_ical())


def _calendar(method: str) -> Component:
    calendar: Component = icalendar.Calendar()
    calendar.add("PRODID", PRODUCT)
    calendar.add("VERSION", "2.0")
    calendar.add("METHOD", method)
    return calendar


def events_of(booking: Booking, dates: Sequence[Occurrence], timezone: str, rooms: Rooms) -> Iterable[Component]:
    """The booking, then each date that differs from it."""
    # A rule counts in the venue's local time, so its start must be given in that; everything else is plain in UTC.
    zone = ZoneInfo(timezone) if booking.rrule is not None else UTC
    main = _event(booking, booking.start, booking.end, booking.zones, booking.title, booking.status, zone, rooms)
    if booking.rrule is not None:
        main.add("RRULE", icalendar.vRecur.from_ical(booking.rrule))
    for name, keys in (("RDATE", booking.rdates), ("EXDATE", _left_out(booking, dates))):
        if keys:
            main.add(name, [_at(start_of(key), zone) for key in keys])
    if booking.set_up:
        main.add(OWN + "SET-UP", _duration(booking.set_up))
    if booking.clear_down:
        main.add(OWN + "CLEAR-DOWN", _duration(booking.clear_down))
    if booking.attendance is not None and not booking.private:
        main.add(OWN + "ATTENDANCE", str(booking.attendance))
    if booking.scene is not None and not booking.private:
        main.add(OWN + "SCENE", booking.scene)
    yield main
    if not booking.recurs:
        return
    for one in dates:
        if one.status == "cancelled" or not _differs(booking, one):
            continue
        title = one.title or booking.title
        single = _event(booking, one.start, one.end, one.zones, title, one.status, zone, rooms)
        single.add("RECURRENCE-ID", _at(start_of(one.key), zone))
        yield single


def _left_out(booking: Booking, dates: Iterable[Occurrence]) -> tuple[str, ...]:
    cancelled = () if booking.status == "cancelled" else (one.key for one in dates if one.status == "cancelled")
    return tuple(sorted({*booking.exdates, *cancelled}))


def _differs(booking: Booking, one: Occurrence) -> bool:
    usual = date_of(booking, start_of(one.key))
    return bool(one.title) or any(getattr(one, n) != getattr(usual, n) for n in ("start", "end", "zones", "status"))


def _event(
    booking: Booking,
    start: float,
    end: float,
    zones: Iterable[str],
    title: str,
    status: str,
    zone: Any,
    rooms: Rooms,
) -> Component:
    event: Component = icalendar.Event()
    event.add("UID", booking.uid)
    event.add("DTSTAMP", _at(booking.modified, UTC))
    event.add("CREATED", _at(booking.created, UTC))
    event.add("LAST-MODIFIED", _at(booking.modified, UTC))
    event.add("SEQUENCE", booking.revision if booking.sequence is None else booking.sequence)
    event.add("DTSTART", _at(start, zone))
    event.add("DTEND", _at(end, zone))
    event.add("SUMMARY", HIDDEN if booking.private else title)
    event.add("LOCATION", rooms.name(zones))
    event.add("STATUS", status.upper())
    event.add("TRANSP", "TRANSPARENT" if booking.transparent else "OPAQUE")
    if booking.private:
        event.add("CLASS", "PRIVATE")
    return event


def _at(stamp: float, zone: Any) -> datetime:
    return datetime.fromtimestamp(round(stamp), zone)


def _duration(seconds: float) -> str:
    length: Component = icalendar.vDuration(timedelta(seconds=seconds))
    return str(length.to_ical().decode())


def free_busy(
    names: Mapping[str, str], taken: Mapping[str, Sequence[Busy]], start: float, end: float, now: float
) -> bytes:
    """One VFREEBUSY for each zone of ``taken``: when it is taken in [``start``, ``end``), as RFC 5545 §3.6.4 has it.

    ``names`` are the zones' words for people. Times that no FREEBUSY names are free.
    """
    calendar = _calendar("PUBLISH")
    for zone, spells in taken.items():
        component: Component = icalendar.FreeBusy()
        component.add("UID", f"free-busy-{zone}")
        component.add("DTSTAMP", _at(now, UTC))
        component.add("DTSTART", _at(start, UTC))
        component.add("DTEND", _at(end, UTC))
        component.add("COMMENT", names[zone])
        for kind in dict.fromkeys(spell.kind for spell in spells):
            periods = [(_at(s.start, UTC), _at(s.end, UTC)) for s in spells if s.kind == kind]
            for period in periods:
                component.add("FREEBUSY", icalendar.vPeriod(period), parameters={"FBTYPE": kind})
        calendar.add_component(component)
    return bytes(calendar.to_ical())
