"""What is private, and stays so: the one place that says what a reader is not told, of now and of what was.

A booking is told as "in use", without its title and people, where it was private at the time that is told of, and where
it is private now: made private later, it is so in what was told before as well. Of one that was forgotten the last word
counts. While a private booking has a zone, nothing is told of that zone but that it is in use; what its own panels show
is their own.

``may_see`` is for a reader who may see everything: over HTTP, where each answer is made for one reader. Nobody has it
where one text goes to many or is passed on: on live sockets, in the drawing of a day, in calendars and webhooks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from roomlink.core import events as ev
from roomlink.core.bookings import BEFORE_THE_END, Booking, BookingSet, Occurrence, OccurrencesSet
from roomlink.core.diary_apply import overlapping
from roomlink.core.divisions import UsedByHand
from roomlink.core.evening_records import ClosingEnded, ClosingSet, PresenceSet
from roomlink.core.lock_records import Lock, LockEnded, LockSet
from roomlink.core.state import State

HIDDEN = "in use"
"""Stands for whatever is not told."""

_INSTANT_S = 0.001
"""What is asked of a moment is asked of so long a time from it on."""


def hidden(state: State, booking: str, was_private: bool, *, may_see: bool = False) -> bool:
    """Whether a booking is hidden from a reader; ``was_private`` at the time that is told of, ``state`` is of now."""
    if may_see or was_private:
        return was_private and not may_see
    now = state.bookings.get(booking)
    return bool(now.private) if now is not None else booking in state.forgotten_private


def booking(record: Booking) -> Booking:
    """A booking as a reader sees it from whom it is hidden."""
    return replace(record, title=HIDDEN, organiser="", attendance=None, private=True)


def _occurrence(record: Occurrence) -> Occurrence:
    return replace(record, title=HIDDEN if record.title else "", attendance=None, private=True)


def told(state: State, event: ev.Event, *, may_see: bool = False) -> ev.Event:
    """An event of any time as a reader may see it by what is known in ``state``, which is of now."""
    if isinstance(event, BookingSet):
        hides = hidden(state, event.booking, event.now.private, may_see=may_see)
        return replace(event, now=booking(event.now)) if hides else event
    if isinstance(event, OccurrencesSet):
        dates = tuple(
            _occurrence(one) if hidden(state, event.booking, one.private, may_see=may_see) else one
            for one in event.occurrences
        )
        return replace(event, occurrences=dates)
    if isinstance(event, ev.Answered) and "refused" in event.reply:
        return replace(event, reply={**event.reply, "refused": _clashes(state, event.reply["refused"], may_see)})
    return event


def _clashes(state: State, clashes: Iterable[Mapping[str, Any]], may_see: bool) -> list[dict[str, Any]]:
    """Clashes as they were answered once: what stood in the way may have become private since."""
    return [
        {**clash, "title": HIDDEN} if "title" in clash and hidden(state, clash["booking"], False, may_see=may_see)
        else dict(clash)
        for clash in clashes
    ]  # fmt: skip


def as_known(then: State, now: State) -> Iterator[ev.Event]:
    """Events that make an earlier state as discreet as what is known now: private is what was or is."""
    for name in list(then.bookings.live()):
        record = then.bookings[name]
        if not record.private and hidden(now, name, False):
            yield BookingSet(name, replace(record, private=True))
            dates = (then.occurrences[name, key] for key in then.dates.get(name, ()))
            yield OccurrencesSet(name, tuple(replace(one, private=True) for one in dates))


# Zones


def veiled(state: State, zone: str, *, may_see: bool = False) -> bool:
    """Whether a private booking has a zone now, so that of it only this is told. Costs next to nothing."""
    key = state.in_use.get(zone)
    one = state.occurrences.get(key) if key is not None and not may_see else None
    return one is not None and one.private and one.phase in BEFORE_THE_END


def veiled_controller(state: State, controller: str) -> bool:
    """Whether a controller shows what goes on in a zone that a private booking has: that is for its own panel alone."""
    return any(veiled(state, zone) for zone in state.linked.get(controller, ()))


def veiled_lock(state: State, lock: Lock) -> bool:
    """Whether a lock is on a zone that a private booking has now, or on a controller at home there or linked to it."""
    if lock.zone is not None:
        return veiled(state, lock.zone)
    controller = lock.controller or ""
    spec = state.spec.controllers.get(controller)
    return spec is not None and (veiled(state, spec.home) or veiled_controller(state, controller))


def _was_veiled(state: State, zone: str, at: float) -> bool:
    """Whether a private booking had a zone at a stamp, by the diary as it is known in ``state``."""
    for span in overlapping(state.busy.get(zone, ()), at, at + _INSTANT_S):
        one = state.occurrences.get((span.booking, span.key))
        if one is not None and one.acts and at < one.end and hidden(state, span.booking, one.private):
            return True
    return False


def veiled_zone(state: State, event: ev.Event, at: float, *, may_see: bool = False) -> str | None:
    """The zone of which ``event``, at the stamp ``at``, would tell more than that it was in use; None where none is."""
    if may_see or not isinstance(event, _OF_A_ZONE):
        return None
    about = event.now if isinstance(event, LockSet | ev.HoldBegan) else event
    zones: list[str] = [*getattr(about, "zones", ())]
    if (zone := getattr(about, "zone", None)) is not None:
        zones.append(zone)
    if (spec := state.spec.controllers.get(getattr(about, "controller", None) or "")) is not None:
        zones.append(spec.home)
    return next((zone for zone in zones if _was_veiled(state, zone, at)), None)


_OF_A_ZONE = (
    ev.ControlSet,
    ev.LinkSet,
    ev.LinkEnded,
    ev.HandSet,
    ev.HoldBegan,
    ev.HoldEnded,
    ev.Masked,
    ev.Unmasked,
    ev.Remembered,
    UsedByHand,
    LockSet,
    LockEnded,
    PresenceSet,
    ClosingSet,
    ClosingEnded,
)
"""Events that tell what goes on in a zone. What groups and walls do can be seen from outside."""
