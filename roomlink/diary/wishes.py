"""What a calendar's event asks for, as the core is asked: one wish for the booking with all its dates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from roomlink.core.bookings import Booking, Occurrence, OneWish, Wish, key_of, start_of
from roomlink.core.discretion import HIDDEN
from roomlink.core.instants import rfc3339
from roomlink.diary import recurrence
from roomlink.diary.ical_read import CalendarEvent, Change
from roomlink.diary.rooms import Rooms

UNTITLED = "untitled"


@dataclass(frozen=True, slots=True)
class Here:
    """What there is already of an event: its booking and its dates by key. Empty for an event that is new."""

    booking: Booking | None = None
    dates: Mapping[str, Occurrence] | None = None

    def date(self, key: str) -> Occurrence | None:
        return (self.dates or {}).get(key)


def is_over(event: CalendarEvent, now: float) -> bool:
    length = event.end - event.start
    return all(s + length <= now for s in event.starts) and all(change.end <= now for change in event.changes)


def plan(
    event: CalendarEvent,
    zones: tuple[str, ...],
    here: Here,
    rooms: Rooms,
    *,
    timezone: str,
    now: float,
    upto: float,
    source: str,
) -> tuple[Wish, str]:
    """The wish, and a note on what of the event could not be carried over. Without ``starts`` nothing is left of it."""
    title = event.summary or UNTITLED
    starts = {key_of(start): start for start in event.starts}
    exdates = set(event.exdates)
    ones: dict[str, OneWish] = {}
    for change in event.changes:
        if change.status == "CANCELLED" or (change.end <= now and here.date(change.key) is None):
            starts.pop(change.key, None)
            exdates.add(change.key)
            continue
        starts[change.key] = start_of(change.key)
        own, _ = rooms.zones(change.places)
        ones[change.key] = of_change(change, own or zones, title)
    for key, date in (here.dates or {}).items():
        if date.status == "cancelled" and key in exdates and here.booking and key not in here.booking.exdates:
            # A date that was called off here comes back from its own export as one that is left out.
            exdates.discard(key)
            starts[key] = start_of(key)
            ones[key] = OneWish(date.start, date.end, date.zones, status="cancelled", title=date.title)
        if date.changed and key in starts:
            # A calendar knows nothing of scenes and people: what was put down here for one date stays.
            ones[key] = replace(ones.get(key, OneWish()), scene=date.scene, attendance=date.attendance)
    wish = Wish(
        uid=event.uid,
        title=title,
        start=event.start,
        end=event.end,
        zones=zones,
        status=event.status.lower(),
        transparent=event.free,
        private=event.private,
        attendance=event.attendance,
        scene=event.scene,
        set_up=event.set_up,
        clear_down=event.clear_down,
        rdates=tuple(sorted(event.rdates)),
        exdates=tuple(sorted(exdates)),
        starts=tuple(sorted(starts.values())),
        ones=tuple(sorted(ones.items())),
        source=source,
        sequence=event.sequence,
    )
    if here.booking is not None:
        wish = _kept(wish, here.booking)
    return _with_rule(wish, event, here, timezone, upto)


def _kept(wish: Wish, booking: Booking) -> Wish:
    """What the calendar does not say stays. What was booked here stays ours, also when its own export comes back."""
    names = ["attendance", "scene", "set_up", "clear_down"]
    kept = {name: getattr(booking, name) for name in names if getattr(wish, name) is None}
    if booking.private and wish.private and wish.title == HIDDEN:
        kept["title"] = booking.title
    sequence = wish.sequence if booking.source else None
    return replace(wish, **kept, organiser=booking.organiser, source=booking.source, sequence=sequence)


def _with_rule(wish: Wish, event: CalendarEvent, here: Here, timezone: str, upto: float) -> tuple[Wish, str]:
    """The rule, where it can be carried on here; else its dates as they are."""
    if not event.rule:
        return wish, ""
    why = "its rule counts by the clock of another place" if event.elsewhere else ""
    far: float | None = None
    if not why:
        if event.endless:
            # With a COUNT only counting tells whether it goes on beyond the window.
            rule = recurrence.parse(event.rule, timezone)
            far = recurrence.expand(event.start, timezone, rule, upto=upto).upto
        return _as_far(replace(wish, rrule=event.rule, upto=far), here, upto), ""
    wish = replace(wish, rdates=tuple(key_of(start) for start in wish.starts), exdates=())
    return wish, f"{why}: its dates until {rfc3339(upto)[:10]} are taken" if event.endless else ""


def _as_far(wish: Wish, here: Here, upto: float) -> Wish:
    """Where the rule is known here already, it stays expanded as far as it is: each day takes it on from there."""
    booking = here.booking
    if booking is None or booking.rrule != wish.rrule or booking.upto is None or wish.upto is None:
        return wish
    far = booking.upto
    beyond = [start_of(key) for key in here.dates or () if start_of(key) > upto and key not in wish.exdates]
    starts = {*(start for start in wish.starts if start <= far), *beyond}
    return replace(wish, starts=tuple(sorted(starts)), upto=far)


def of_change(change: Change, zones: tuple[str, ...], title: str) -> OneWish:
    """What one date shall be."""
    if change.status == "CANCELLED":
        return OneWish(status="cancelled")
    own = change.summary if change.summary not in ("", title, HIDDEN) else ""
    return OneWish(change.start, change.end, zones, status=change.status.lower(), title=own)


def met(one: Occurrence, wish: OneWish) -> bool:
    """Whether a date is as it is wished for."""
    names = ("start", "end", "zones", "status", "title")
    return all(getattr(wish, name) in (None, getattr(one, name)) for name in names)
