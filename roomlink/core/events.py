"""What can happen, as resolved facts. ``apply`` needs nothing but these to build the state.

Each event is frozen and carries the whole new record of what it is about, so that later code or configuration
cannot rewrite history. ``encode`` and ``decode`` turn an event into plain JSON data and back, without loss.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from roomlink.core.access import ACCESS_EVENTS, ACCESS_RECORDS, AccessEvent
from roomlink.core.alarm_events import ALARM_EVENTS, ALARM_RECORDS, AlarmEvent
from roomlink.core.alarm_events import AlarmCleared as AlarmCleared
from roomlink.core.alarm_events import AlarmRaised as AlarmRaised
from roomlink.core.alarm_events import AlarmSet as AlarmSet
from roomlink.core.bookings import BOOKING_EVENTS, BOOKING_RECORDS, BookingEvent, Occurrence, OccurrencesSet
from roomlink.core.divisions import DIVISION_EVENTS, DIVISION_RECORDS, DivisionEvent
from roomlink.core.evening_records import EVENING_EVENTS, EVENING_RECORDS, EveningEvent
from roomlink.core.lead_records import HAND_EVENTS, HAND_RECORDS, HandEvent
from roomlink.core.records import KIND_OF, RECORD_KINDS, Arming, Check, Control, Hold, Link, Mask, Override, Role, Wall
from roomlink.core.spec import Value
from roomlink.core.travel_events import TRAVEL_EVENTS, TRAVEL_RECORDS, TravelEvent


@dataclass(frozen=True, slots=True)
class Configured:
    """The venue is this from now on: the resolved configuration and the hash of its content."""

    data: Mapping[str, Any]
    digest: str


@dataclass(frozen=True, slots=True)
class ControlSet:
    """A zone's control has this record now."""

    zone: str
    control: str
    now: Control


@dataclass(frozen=True, slots=True)
class ControlDropped:
    """A zone no longer has this control."""

    zone: str
    control: str


@dataclass(frozen=True, slots=True)
class LinkSet:
    """A link exists or changed; ``last`` makes it the one linked last."""

    controller: str
    zone: str
    now: Link
    last: bool


@dataclass(frozen=True, slots=True)
class LinkEnded:
    controller: str
    zone: str
    why: str


@dataclass(frozen=True, slots=True)
class HandSet:
    """The value that a hand last gave a level from this controller (None: forgotten)."""

    controller: str
    control: str
    value: float | None


@dataclass(frozen=True, slots=True)
class HoldBegan:
    hold: str
    now: Hold


@dataclass(frozen=True, slots=True)
class HoldEnded:
    """These zones are let go by this hold; a hold without zones is over."""

    hold: str
    zones: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class WallSet:
    partition: str
    now: Wall


@dataclass(frozen=True, slots=True)
class WallDropped:
    partition: str


@dataclass(frozen=True, slots=True)
class Regrouped:
    """These groups exist now; together they hold exactly the zones of the groups that they replace."""

    groups: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ZoneDropped:
    zone: str


@dataclass(frozen=True, slots=True)
class RoleSet:
    controller: str
    now: Role


@dataclass(frozen=True, slots=True)
class ControllerDropped:
    controller: str


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a zone had when it last stood alone: at the stamp ``at`` (None: nobody put it down), in ``booking``."""

    zone: str
    values: Mapping[str, Value]
    at: float | None = None
    booking: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class OverflowSet:
    """These zones are joined on purpose; no zones: the overflow is over."""

    overflow: str
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SceneSaved:
    """A person saved this scene; ``content`` None: the saved one is gone and the configured one counts."""

    scene: str
    content: Mapping[str, Any] | None
    etag: str


@dataclass(frozen=True, slots=True)
class OverrideSet:
    override: str
    now: Override


@dataclass(frozen=True, slots=True)
class OverrideCleared:
    override: str


@dataclass(frozen=True, slots=True)
class Masked:
    """While the mask stands, the control's output is its value."""

    zone: str
    control: str
    now: Mask


@dataclass(frozen=True, slots=True)
class Unmasked:
    zone: str
    control: str


@dataclass(frozen=True, slots=True)
class Armed:
    """A binding of power or motion may be driven from now on."""

    binding: str
    now: Arming


@dataclass(frozen=True, slots=True)
class Disarmed:
    binding: str
    why: str


@dataclass(frozen=True, slots=True)
class Checked:
    """Somebody put down what a commissioning item showed on site."""

    item: str
    now: Check


@dataclass(frozen=True, slots=True)
class Told:
    """A webhook has been told everything up to the entry ``upto`` (None: it is no longer configured).

    But for what ``failed``: (position of the entry, place of the event in it, why).
    """

    webhook: str
    upto: int | None
    failed: tuple[tuple[int, int, str], ...]


@dataclass(frozen=True, slots=True)
class Answered:
    """A request with this Idempotency-Key was carried out; ``digest`` is of its content, ``reply`` its answer."""

    key: str
    digest: str
    reply: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Noticed:
    """A sentence for the record, where something was dropped or decided that no other event shows."""

    text: str


Event = (
    Configured
    | ControlSet
    | ControlDropped
    | LinkSet
    | LinkEnded
    | HandSet
    | HoldBegan
    | HoldEnded
    | WallSet
    | WallDropped
    | Regrouped
    | ZoneDropped
    | RoleSet
    | ControllerDropped
    | Remembered
    | OverflowSet
    | SceneSaved
    | AlarmEvent
    | OverrideSet
    | OverrideCleared
    | Masked
    | Unmasked
    | Armed
    | Disarmed
    | Checked
    | BookingEvent
    | TravelEvent
    | DivisionEvent
    | HandEvent
    | AccessEvent
    | EveningEvent
    | Told
    | Answered
    | Noticed
)

EVENT_TYPES: dict[str, type[Any]] = {
    "configured": Configured,
    "control": ControlSet,
    "control-dropped": ControlDropped,
    "link": LinkSet,
    "link-ended": LinkEnded,
    "hand": HandSet,
    "hold": HoldBegan,
    "hold-ended": HoldEnded,
    "wall": WallSet,
    "wall-dropped": WallDropped,
    "regrouped": Regrouped,
    "zone-dropped": ZoneDropped,
    "role": RoleSet,
    "controller-dropped": ControllerDropped,
    "remembered": Remembered,
    "overflow": OverflowSet,
    "scene": SceneSaved,
    **ALARM_EVENTS,
    "override": OverrideSet,
    "override-cleared": OverrideCleared,
    "masked": Masked,
    "unmasked": Unmasked,
    "armed": Armed,
    "disarmed": Disarmed,
    "checked": Checked,
    **BOOKING_EVENTS,
    **TRAVEL_EVENTS,
    **DIVISION_EVENTS,
    **HAND_EVENTS,
    **ACCESS_EVENTS,
    **EVENING_EVENTS,
    "told": Told,
    "answered": Answered,
    "noticed": Noticed,
}
TYPE_OF = {kind: name for name, kind in EVENT_TYPES.items()}
_RECORDS: dict[type[Any], type[Any]] = {
    LinkSet: Link,
    HoldBegan: Hold,
    WallSet: Wall,
    **ALARM_RECORDS,
    RoleSet: Role,
    OverrideSet: Override,
    Masked: Mask,
    **BOOKING_RECORDS,
    **TRAVEL_RECORDS,
    **DIVISION_RECORDS,
    **HAND_RECORDS,
    **ACCESS_RECORDS,
    **EVENING_RECORDS,
    Armed: Arming,
    Checked: Check,
}
_NAMES = {
    kind: tuple(f.name for f in fields(kind))
    for kind in (*EVENT_TYPES.values(), *RECORD_KINDS.values(), *_RECORDS.values(), Occurrence)
}


def _members(record: Any) -> dict[str, Any]:
    return {name: getattr(record, name) for name in _NAMES[type(record)]}


def encode(event: Event) -> dict[str, Any]:
    """Plain JSON data with a ``type``; tuples stay tuples, which JSON writes as lists."""
    data: dict[str, Any] = {"type": TYPE_OF[type(event)], **_members(event)}
    now = data.get("now")
    if now is not None:
        data["now"] = _members(now)
        if type(event) is ControlSet:
            data["kind"] = KIND_OF[type(now)]
    elif type(event) is OccurrencesSet:
        data["occurrences"] = tuple(_members(occurrence) for occurrence in event.occurrences)
    return data


def _tuples(value: Any) -> Any:
    return tuple(_tuples(v) for v in value) if isinstance(value, list | tuple) else value


def _read(record: type[Any], data: Mapping[str, Any]) -> Any:
    return record(**{k: _tuples(v) for k, v in data.items()})


_PLAIN = frozenset({"data", "values", "content", "reply"})
"""Members that hold JSON objects, given back as they came."""


def decode(data: Mapping[str, Any]) -> Event:
    """The event that ``encode`` made ``data`` from. Raises KeyError or TypeError on anything else."""
    kind = EVENT_TYPES[data["type"]]
    members = {k: v if k in _PLAIN else _tuples(v) for k, v in data.items() if k not in ("type", "kind", "now")}
    if kind is OccurrencesSet:
        members["occurrences"] = tuple(_read(Occurrence, o) for o in data["occurrences"])
    elif "now" in data:
        record = RECORD_KINDS[data["kind"]] if kind is ControlSet else _RECORDS[kind]
        members["now"] = _read(record, data["now"])
    return kind(**members)  # type: ignore[no-any-return]  # the table maps names to the members of Event


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the journal: all that one command made happen, at one stamp.

    ``who`` acted (a controller, a person, ``wall``, ``service``), ``via`` what (panel, http, wall, clock, service),
    from ``where`` (an address); ``did`` is the command in short, for people who ask afterwards.
    """

    seq: int
    at: float
    who: str
    via: str
    did: Mapping[str, Any]
    events: tuple[Event, ...]
    where: str = ""


def encode_entry(entry: Entry) -> dict[str, Any]:
    return {
        "seq": entry.seq,
        "at": entry.at,
        "who": entry.who,
        "via": entry.via,
        "where": entry.where,
        "did": dict(entry.did),
        "events": [encode(event) for event in entry.events],
    }


def decode_entry(data: Mapping[str, Any]) -> Entry:
    events = tuple(decode(event) for event in data["events"])
    return Entry(data["seq"], data["at"], data["who"], data["via"], data["did"], events, data.get("where", ""))
