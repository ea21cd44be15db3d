"""Deciding bookings: created, changed, cancelled, one date or all. Nothing is ever booked twice.

The caller has expanded what recurs to instants; here it is only asked whether they are free.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from roomlink import limits
from roomlink.core import clashes, diary_view, occupancy, turn_checks, turns
from roomlink.core.booking_checks import (
    checked,
    require_match,
    require_people,
    require_scene,
    require_zones,
    told_apart,
)
from roomlink.core.bookings import (
    BEFORE_THE_END,
    STATUSES,
    Booking,
    BookingDropped,
    BookingSet,
    Occurrence,
    OccurrencesDropped,
    OccurrencesSet,
    OneWish,
    Wish,
    key_of,
    start_of,
)
from roomlink.core.commands import (
    CancelBooking,
    ChangeBooking,
    ChangeOccurrence,
    CreateBooking,
    ExtendBooking,
    ForgetBookings,
)
from roomlink.core.events import Noticed
from roomlink.core.instants import rfc3339
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused, UnknownName

Data = dict[str, Any]


def create(draft: Draft, command: CreateBooking) -> Data:
    """Book. The reply has ``booking``, ``etag``, ``zones``, ``dates``, ``warnings`` and ``refused``."""
    if command.booking in draft.bookings or draft.booking_of_uid.get(command.wish.uid) is not None:
        text = f"a booking with the uid {command.wish.uid} exists already; change that one"
        raise Refused("exists", text, booking=draft.booking_of_uid.get(command.wish.uid))
    wish = checked(draft, command.wish)
    booking = _booking(wish, revision=1, created=draft.now, now=draft.now)
    return _put(draft, command.booking, booking, wish, command.accept_free)


def change(draft: Draft, command: ChangeBooking) -> Data:
    """Make a booking what the wish says; a reply as that of ``create``."""
    old = find(draft, command.booking)
    require_match(command.booking, diary_view.etag(old), command.if_match)
    wish = checked(draft, replace(command.wish, uid=old.uid))
    if not wish.source:
        # Changed by hand, it still is what its calendar knows by that uid.
        wish = replace(wish, source=old.source, sequence=old.sequence)
    booking = _booking(wish, revision=old.revision, created=old.created, now=old.modified)
    return _put(draft, command.booking, booking, wish, command.accept_free)


def find(state: State, name: str) -> Booking:
    """A booking. Raises ``UnknownName``; all names are not told, as they are many and mean nothing."""
    booking = state.bookings.get(name)
    if booking is None:
        raise UnknownName("booking", name)
    return booking


def _booking(wish: Wish, *, revision: int, created: float, now: float) -> Booking:
    members = {name: getattr(wish, name) for name in Booking.__dataclass_fields__ if hasattr(wish, name)}
    return Booking(**members, revision=revision, created=created, modified=now)


def date_of(booking: Booking, start: float) -> Occurrence:
    """The date of a booking that starts at ``start``, as the booking has it."""
    end = start + (booking.end - booking.start)
    return Occurrence(
        key=key_of(start),
        start=start,
        end=end,
        begins=start - booking.set_up,
        over=end + booking.clear_down,
        zones=booking.zones,
        attendance=booking.attendance,
        scene=booking.scene,
        status=booking.status,
        transparent=booking.transparent,
        private=booking.private,
    )


def dates_of(state: State, name: str) -> list[Occurrence]:
    """All dates of a booking, in order."""
    return [state.occurrences[name, key] for key in state.dates.get(name, ())]


def _put(draft: Draft, name: str, booking: Booking, wish: Wish, accept_free: bool) -> Data:
    """Decide a booking with all its dates, all or nothing unless ``accept_free``."""
    olds = {old.key: old for old in dates_of(draft, name)}
    starts = wish.starts or (wish.start,)
    wanted = {key_of(start): start for start in starts}
    # What is over of a series stays as it was, and so does a date that was changed by itself.
    kept = [o for k, o in olds.items() if (o.phase == "over" and len(starts) > 1) or (o.changed and k in wanted)]
    kept = [replace(o, private=booking.private) for o in kept]
    if wish.ones is not None:
        kept = [o for o in kept if o.phase == "over"]
    held = {o.key for o in kept}
    dates = [date_of(booking, start) for key, start in wanted.items() if key not in held]
    if not booking.zones:
        booking, dates = _with_zones(draft, name, booking, dates, wish)
    differ = dict(wish.ones or ())
    dates = [_changed(draft, booking, d, differ[d.key]) if d.key in differ else d for d in dates]
    warnings = [*_require_posted(draft, name, booking, dates), *told_apart(draft, booking.zones)]
    free, found = clashes.split(draft, name, dates, kept)
    if found and not (accept_free and free):
        need = wish.capacity or booking.attendance
        raise refusal(draft, name, dates, found, need, kept, recurs=len(starts) > 1)
    refused = {clash.wanted.key: clash for clash in found}
    news = [_going_on(draft, new, olds.get(new.key) or _only(olds, starts)) for new in free]
    news, told_of, unmade = turn_checks.admitted(draft, name, booking, olds, kept, news, accept_free)
    out = {one.key for one in free} - {one.key for one in news}
    booking = replace(booking, exdates=tuple(sorted({*booking.exdates, *refused, *out})))
    _require_room(draft, len(news))
    _emit(draft, name, booking, olds, [*kept, *news])
    booking = draft.bookings[name]
    return {
        "booking": name,
        "etag": diary_view.etag(booking),
        "zones": list(booking.zones),
        "dates": len(draft.dates.get(name, ())),
        "warnings": [*warnings, *told_of],
        "refused": [*(diary_view.clash(draft, clash) for clash in found), *unmade][: limits.CLASHES_TOLD_MAX],
    }


def _with_zones(
    draft: Draft, name: str, booking: Booking, dates: list[Occurrence], wish: Wish
) -> tuple[Booking, list[Occurrence]]:
    """Choose zones for the people that need to fit: the smallest posted room, then the fewest walls to set."""
    people = max(wish.capacity or 0, wish.attendance or 0)
    zones = clashes.choose(draft, name, dates, people)
    if zones is None:
        most = max((room.posted for room in draft.spec.rooms), default=None)
        text = f"no arrangement is posted for {people} people" + ("" if most is None else f"; {most} is the most")
        raise Refused("over-posted", text, posted=most, capacity=people)
    return replace(booking, zones=zones), clashes.in_zones(dates, zones)


def _require_posted(draft: Draft, name: str, booking: Booking, dates: Sequence[Occurrence]) -> list[str]:
    """Raise where more people come than the sign of exactly these zones allows; warn where there is no sign."""
    posted = draft.spec.posted.get(frozenset(booking.zones))
    together = " + ".join(booking.zones)
    if posted is None:
        return [f"no number of people is posted for {together}: ask the authority"]
    if booking.attendance is None or booking.attendance <= posted:
        return []
    others = clashes.alternatives(draft, name, dates, booking.attendance, draft.now, ())
    text = f"{booking.attendance} people are more than the {posted} posted for {together}"
    larger = [told(other) for other in others if other["why"] == "other zones"]
    raise Refused("over-posted", text, posted=posted, attendance=booking.attendance, alternatives=larger)


def told(alternative: Data) -> Data:
    """An alternative with times that can be read."""
    return {**alternative, "start": rfc3339(alternative["start"]), "end": rfc3339(alternative["end"])}


def refusal(
    draft: Draft,
    name: str,
    dates: Sequence[Occurrence],
    found: Sequence[clashes.Clash],
    people: int | None,
    kept: Sequence[Occurrence],
    *,
    recurs: bool,
) -> Refused:
    """The problem that names every clash, and what is free instead."""
    first = found[0]
    seen = [diary_view.clash(draft, clash) for clash in found[: limits.CLASHES_TOLD_MAX]]
    text = f"{' and '.join(first.zones)} would be taken twice: booking {first.other[0]} has it"
    if "from" in seen[0]:
        text += f" from {seen[0]['from']} until {seen[0]['until']}"
    if len(found) > 1:
        text += f", and there are {len(found) - 1} more clashes"
    if recurs:
        text += "; ask for accept_free to book the dates that are free"
    others = clashes.alternatives(draft, name, dates, people, draft.now, kept)
    return Refused("clash", text, clashes=seen, alternatives=[told(other) for other in others])


def _require_room(draft: Draft, more: int) -> None:
    if len(draft.beneath.occurrences) + more > limits.OCCURRENCES_MAX:
        raise Refused("too-many", f"the diary holds at most {limits.OCCURRENCES_MAX} dates; cancel or shorten some")


def _only(olds: dict[str, Occurrence], starts: Sequence[float]) -> Occurrence | None:
    """The one old date of a booking with one new date: it is the same one, moved."""
    return next(iter(olds.values())) if len(olds) == 1 and len(starts) == 1 else None


def _going_on(draft: Draft, new: Occurrence, old: Occurrence | None) -> Occurrence:
    """A new date in the phase that it should be in: what is past is over, and what was begun goes on.

    One that is on and has its end in the past now is at its end at once, with all that is done then.
    """
    target = new.phase_at(draft.now) if new.acts else "waiting"
    if old is not None and old.phase in BEFORE_THE_END and target in ("clear-down", "over"):
        return replace(new, phase=old.phase)  # its next phase is due by now
    if target == "over" or (old is not None and old.live):
        return replace(new, phase=target)
    return new


def _emit(draft: Draft, name: str, booking: Booking, olds: dict[str, Occurrence], dates: Iterable[Occurrence]) -> None:
    """Say what differs, and let links and wall requests follow."""
    now = {date.key: date for date in dates}
    gone = tuple(key for key in olds if key not in now)
    differ = tuple(date for key, date in now.items() if olds.get(key) != date)
    old = draft.bookings.get(name)
    if old is not None and old == booking and not gone and not differ:
        return
    revision = booking.revision if old is None else booking.revision + 1
    draft.emit(BookingSet(name, replace(booking, revision=revision, modified=draft.now)))
    if gone:
        draft.emit(OccurrencesDropped(name, gone))
    if differ:
        draft.emit(OccurrencesSet(name, differ))
    touched = [olds[key] for key in gone] + [olds[d.key] for d in differ if d.key in olds] + list(differ)
    zones = {zone: None for one in touched if one.live for zone in one.zones}
    turns.drop_ticks(draft, {zone for one in touched for zone in one.zones})
    occupancy.settle(draft, zones)
    occupancy.freed(draft, [zone for zone in zones if zone not in draft.in_use])


def cancel(draft: Draft, command: CancelBooking) -> Data:
    """Cancel what is not over of a booking. Cancelling once more succeeds, and changes nothing."""
    old = find(draft, command.booking)
    if old.status != "cancelled":
        require_match(command.booking, diary_view.etag(old), command.if_match)
        olds = {one.key: one for one in dates_of(draft, command.booking)}
        dates = [o if o.phase == "over" else replace(o, status="cancelled", phase="waiting") for o in olds.values()]
        _emit(draft, command.booking, replace(old, status="cancelled", upto=None), olds, dates)
    now = draft.bookings[command.booking]
    return {"booking": command.booking, "etag": diary_view.etag(now), "zones": list(old.zones)}


def change_one(draft: Draft, command: ChangeOccurrence) -> Data:
    """Change, move or cancel one date; the others stay."""
    name, wish = command.booking, command.wish
    booking = find(draft, name)
    old = draft.occurrences.get((name, command.key))
    if old is None:
        raise UnknownName("occurrence", command.key, list(draft.dates.get(name, ()))[:100])
    require_match(name, diary_view.etag(booking), command.if_match)
    if old.phase == "over":
        raise Refused("is-over", f"that date was over at {rfc3339(old.over)}: what was is not changed")
    if booking.status == "cancelled":
        raise Refused("is-cancelled", f"booking {name} is cancelled as a whole; PUT it to book it again")
    new = date_of(booking, start_of(old.key)) if wish.back else _changed(draft, booking, old, wish)
    others = [o for o in dates_of(draft, name) if o.key != old.key]
    warnings = _require_posted(draft, name, replace(booking, zones=new.zones, attendance=new.attendance), [new])
    warnings += told_apart(draft, new.zones)
    free, found = clashes.split(draft, name, [new], others)
    if not free:
        raise refusal(draft, name, [new], found, new.attendance, others, recurs=False)
    olds = {o.key: o for o in (*others, old)}
    news, told_of, _ = turn_checks.admitted(draft, name, booking, olds, others, [_going_on(draft, new, old)], False)
    _emit(draft, name, booking, olds, [*others, *news])
    etag = diary_view.etag(draft.bookings[name])
    return {
        "booking": name, "occurrence": old.key, "etag": etag, "zones": list(new.zones),
        "warnings": [*warnings, *told_of],
    }  # fmt: skip


def _changed(draft: Draft, booking: Booking, old: Occurrence, wish: OneWish) -> Occurrence:
    """A date as ``wish`` has it."""
    start = old.start if wish.start is None else float(round(wish.start))
    end = start + (old.end - old.start) if wish.end is None else float(round(wish.end))
    if not start < end <= start + limits.BOOKING_S_MAX:
        most = limits.BOOKING_S_MAX / 86400.0
        raise BadValue("end", f"a date ends after its start, and within {most:g} days")
    zones = old.zones if wish.zones is None else require_zones(draft, wish.zones)
    scene = old.scene if wish.scene is None else (wish.scene or None)
    if scene is not None:
        require_scene(draft, scene, zones)
    status = old.status if wish.status is None else wish.status
    if status not in STATUSES:
        raise BadValue("status", f"{status!r} is not one of {', '.join(STATUSES)}", allowed=list(STATUSES))
    require_people("attendance", wish.attendance)
    if wish.title is not None and len(wish.title) > limits.BOOKING_TEXT_CHARS_MAX:
        raise BadValue("title", f"has at most {limits.BOOKING_TEXT_CHARS_MAX} characters")
    return replace(
        old,
        start=start,
        end=end,
        begins=start - booking.set_up,
        over=end + booking.clear_down,
        zones=zones,
        attendance=old.attendance if wish.attendance is None else wish.attendance,
        scene=scene,
        status=status,
        title=old.title if wish.title is None else wish.title,
        changed=True,
        phase="waiting" if status != "confirmed" else old.phase,
    )


def extend(draft: Draft, command: ExtendBooking) -> Data:
    """Take in the dates that have come within the horizon. What is taken is left out, and said."""
    booking = find(draft, command.booking)
    if booking.status == "cancelled" or booking.upto is None:
        return {"booking": command.booking, "zones": []}
    there = {*draft.dates.get(command.booking, ()), *booking.exdates}
    dates = [date_of(booking, s) for s in command.starts if s > booking.upto and key_of(s) not in there]
    dates = [replace(d, phase="over") if d.over <= draft.now else d for d in dates]
    free, found = clashes.split(draft, command.booking, dates, dates_of(draft, command.booking))
    _require_room(draft, len(free))
    out = {clash.wanted.key: clash for clash in found}
    booking = replace(booking, upto=command.upto, exdates=tuple(sorted({*booking.exdates, *out})))
    if booking != draft.bookings[command.booking]:
        draft.emit(BookingSet(command.booking, booking))
    if free:
        draft.emit(OccurrencesSet(command.booking, tuple(free)))
    for key, clash in out.items():
        where = " and ".join(clash.zones)
        draft.emit(Noticed(f"booking {command.booking} leaves out {key}: booking {clash.other[0]} has {where}"))
    return {"booking": command.booking, "zones": list(booking.zones) if free else []}


def forget(draft: Draft, command: ForgetBookings) -> Data:
    """Forget what was over long ago; a booking without any date to come is forgotten whole."""
    for name in list(draft.bookings.live()):
        booking, dates = draft.bookings[name], dates_of(draft, name)
        old = [date for date in dates if date.over < command.before]
        if len(old) == len(dates) and booking.upto is None:
            draft.emit(BookingDropped(name, booking.private))
        elif old:
            draft.emit(OccurrencesDropped(name, tuple(date.key for date in old)))
    turns.forget_ticks(draft)
    return {"zones": []}


def reconfigure(draft: Draft) -> None:
    """After a new configuration: dates to come lose the zones that are gone, or are cancelled without any."""
    known = draft.spec.zones
    for name in list(draft.bookings.live()):
        dates = [o for o in dates_of(draft, name) if o.phase != "over" and not all(z in known for z in o.zones)]
        if not dates:
            continue
        now = []
        for old in dates:
            zones = tuple(zone for zone in old.zones if zone in known)
            now.append(replace(old, zones=zones) if zones else replace(old, status="cancelled", phase="waiting"))
        draft.emit(OccurrencesSet(name, tuple(now)))
        booking = draft.bookings[name]
        zones = tuple(zone for zone in booking.zones if zone in known) or booking.zones
        draft.emit(BookingSet(name, replace(booking, zones=zones, revision=booking.revision + 1, modified=draft.now)))
        draft.emit(Noticed(f"booking {name} lost zones that are no longer configured"))
    occupancy.reconfigure(draft)
