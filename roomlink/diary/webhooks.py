"""What others are told, and how it is signed, by Standard Webhooks: id, timestamp and signature in headers.

One message an event. Its id is made of the entry's position, its stamp and the event's place in it, so that it is the
same however often it is sent: whoever receives it drops what he has seen. What is private when it is sent stays so.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from roomlink.core import bookings as bk
from roomlink.core import diary_view, discretion
from roomlink.core import events as ev
from roomlink.core.alarm_kinds import told
from roomlink.core.instants import rfc3339
from roomlink.core.records import Wall
from roomlink.core.state import State

Data = dict[str, Any]

PREFIX = "whsec_"
KEY_BYTES_MIN, KEY_BYTES_MAX = 24, 64
TOLERANCE_S = 300.0
"""How far a receiver's clock may be off from the timestamp that was signed."""
DATES_TOLD_MAX = 100
"""Dates of a booking in one message; whoever wants all of them asks for the booking."""


def key_of_secret(secret: str) -> bytes:
    """The key of ``whsec_...``. Raises ValueError, which says nothing of what is in it."""
    try:
        key = base64.b64decode(secret.strip().removeprefix(PREFIX), validate=True)
    except (binascii.Error, ValueError):
        raise ValueError(f"the secret is not {PREFIX} and base64") from None
    if not KEY_BYTES_MIN <= len(key) <= KEY_BYTES_MAX:
        raise ValueError(f"the secret has {len(key)} bytes; {KEY_BYTES_MIN} to {KEY_BYTES_MAX} are right")
    return key


def signature(key: bytes, message: str, timestamp: int, body: bytes) -> str:
    """What ``webhook-signature`` says: version 1, HMAC-SHA256 over id, timestamp and body."""
    signed = b"%b.%d.%b" % (message.encode(), timestamp, body)
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def verified(key: bytes, message: str, timestamp: str, given: str, body: bytes, now: float) -> bool:
    """Whether a message is ours and fresh, as its receiver finds out; ``given`` may hold several signatures."""
    if not timestamp.isdecimal() or abs(now - int(timestamp)) > TOLERANCE_S:
        return False
    right = signature(key, message, int(timestamp), body).encode()
    return any(hmac.compare_digest(right, one.encode()) for one in given.split(" "))


@dataclass(frozen=True, slots=True)
class Message:
    """One event to tell: ``seq`` and ``place`` say where it is in the journal, ``at`` is its stamp.

    What it says is made when it is sent, by what is private then.
    """

    seq: int
    place: int
    at: float
    event: ev.Event

    @property
    def type(self) -> str:
        return _ROWS[type(self.event)](self.event)[0]

    def data(self, state: State) -> Data:
        """What it says of the event; ``state`` is of now."""
        event = discretion.told(state, self.event)
        return _ROWS[type(event)](event)[1]

    def id(self, venue: str) -> str:
        # The stamp is part of it: after a backup was restored, the same position is another entry.
        return f"msg_{venue}_{self.seq}_{self.place}_{round(self.at * 1000)}"

    def body(self, state: State) -> bytes:
        said = {
            "type": self.type,
            "timestamp": rfc3339(self.at),
            "data": {"venue": state.spec.id, "seq": self.seq, **self.data(state)},
        }
        return json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()


class Teller:
    """Makes messages of entries, read in order. ``families`` are those that are wanted: booking, wall, group, alarm.

    Of a wall only what counts is told, so it remembers how each stood; the first report of each is always told.
    """

    def __init__(self, families: Iterable[str]) -> None:
        self._families = frozenset(families)
        self._walls: dict[str, tuple[Any, ...]] = {}

    def messages(self, entry: ev.Entry) -> Iterator[Message]:
        for place, event in enumerate(entry.events):
            message = message_at(entry, place)
            if message is None or message.type.partition(".")[0] not in self._families or not self._news(event):
                continue
            yield message

    def _news(self, event: ev.Event) -> bool:
        if not isinstance(event, ev.WallSet):
            return True
        counts = _counting(event.now)
        known = self._walls.get(event.partition)
        self._walls[event.partition] = counts
        return known != counts


def message_at(entry: ev.Entry, place: int) -> Message | None:
    """The message of one event; None where that event is not told."""
    event = entry.events[place] if place < len(entry.events) else None
    known = event is not None and type(event) in _ROWS
    if event is None or not known or (isinstance(event, ev.AlarmSet) and not told(event.cause, event.now.state)):
        return None
    return Message(entry.seq, place, entry.at, event)


def _counting(wall: Wall) -> tuple[Any, ...]:
    return (wall.position, wall.joins, wall.trust, wall.flagged)


def _seen(event: Any) -> Data:
    """An event as it is, without what the type says already."""
    return {name: value for name, value in ev.encode(event).items() if name != "type"}


def _booking(event: bk.BookingSet) -> tuple[str, Data]:
    now = event.now
    first = now.revision == 1 and now.created == now.modified
    type_ = "booking.cancelled" if now.status == "cancelled" else "booking.created" if first else "booking.changed"
    return type_, {
        "booking": event.booking,
        "uid": now.uid,
        "title": now.title,
        "zones": list(now.zones),
        "start": rfc3339(now.start),
        "end": rfc3339(now.end),
        "status": now.status,
        "private": now.private,
        "revision": now.revision,
    }


def _dates(event: bk.OccurrencesSet) -> tuple[str, Data]:
    shown = [diary_view.when(one) for one in event.occurrences[:DATES_TOLD_MAX]]
    return "booking.dates", {"booking": event.booking, "dates": shown, "count": len(event.occurrences)}


def _dropped(event: bk.OccurrencesDropped) -> tuple[str, Data]:
    keys = list(event.keys[:DATES_TOLD_MAX])
    return "booking.dates-dropped", {"booking": event.booking, "occurrences": keys, "count": len(event.keys)}


def _wall(event: ev.WallSet) -> tuple[str, Data]:
    now = event.now
    said = {"position": now.position, "joins": now.joins, "trust": now.trust, "flagged": now.flagged}
    return "wall.changed", {"partition": event.partition, **said}


def _wall_request(event: bk.WallRequested) -> tuple[str, Data]:
    asked = {"position": event.now.position, "booking": event.now.booking, "by": rfc3339(event.now.by)}
    return "wall.requested", {"partition": event.partition, **asked}


def _alarm(event: ev.AlarmRaised) -> tuple[str, Data]:
    return "alarm.raised", {**_seen(event), "since": rfc3339(event.since)}


def _alarm_set(event: ev.AlarmSet) -> tuple[str, Data]:
    now = event.now
    return told(event.cause, now.state) or "alarm.changed", {
        "alarm": event.alarm,
        "state": now.state,
        "stands": now.stands,
        "priority": now.priority,
        "text": now.text,
        "since": rfc3339(now.since),
        "chattering": now.quiet is not None,
        "by": now.by,
        "why": now.why,
        "until": None if now.until is None else rfc3339(now.until),
    }


def _plain(type_: str) -> Callable[[Any], tuple[str, Data]]:
    return lambda event: (type_, _seen(event))


_ROWS: dict[type[Any], Callable[[Any], tuple[str, Data]]] = {
    bk.BookingSet: _booking,
    bk.BookingDropped: _plain("booking.forgotten"),
    bk.OccurrencesSet: _dates,
    bk.OccurrencesDropped: _dropped,
    bk.PhaseSet: _plain("booking.phase"),
    bk.WallRequested: _wall_request,
    bk.WallRequestEnded: _plain("wall.request-ended"),
    ev.WallSet: _wall,
    ev.Regrouped: _plain("group.changed"),
    ev.AlarmRaised: _alarm,
    ev.AlarmCleared: _plain("alarm.cleared"),
    ev.AlarmSet: _alarm_set,
}
"""Event to what is told of it. The part of a type before the dot is its family."""
