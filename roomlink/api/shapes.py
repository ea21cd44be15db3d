"""What views look like, for ``/openapi.json``: the members that stay. More may come, so that each allows others.

The views are made as plain data in ``core/view.py`` and its like; a test asks each of them and holds it to its shape.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Value = bool | float | str | None
Stamp = str
"""RFC 3339, in UTC."""
Status = Literal["confirmed", "tentative", "cancelled"]
Phase = Literal["waiting", "set-up", "running", "clear-down", "over"]


class Shape(BaseModel):
    model_config = ConfigDict(extra="allow")


class Moving(Shape):
    """A level on its way."""

    to: float
    start: Stamp
    seconds: float
    curve: str
    from_: float = Field(alias="from")


class ControlView(Shape):
    """One control of one zone. `moving` is a level's alone."""

    kind: Literal["choice", "level", "switch", "momentary", "motion"]
    value: Value
    moving: Moving | None = None


class Use(Shape):
    """The booking that has a zone."""

    booking: str
    occurrence: str
    title: str
    phase: Phase
    start: Stamp
    end: Stamp


class ZoneView(Shape):
    """A zone. While a private booking has it, `controls` and `linked_by` are empty."""

    zone: str
    group: list[str]
    linked_by: list[str]
    in_use: Use | None
    controls: dict[str, ControlView]


class FeedbackView(Shape):
    """What a controller shows of one control in all linked zones."""

    value: Value
    decided: bool
    mixed: bool
    outliers: list[str]


class LinkView(Shape):
    zone: str
    by: Literal["home", "hand", "combining", "booking"]
    since: Stamp


class FaceView(Shape):
    """A controller: its links, its part in the group, its feedback."""

    controller: str
    links: list[LinkView]
    lead: bool
    locked: dict[str, str] | None
    controls: dict[str, FeedbackView]


class RequestView(Shape):
    """Where a wall shall be moved to by hand, and by when."""

    position: Literal["closed", "open"]
    by: Stamp
    booking: str
    met: bool


class PartitionView(Shape):
    position: Literal["closed", "open", "moving", "unknown"]
    trust: str
    flagged: bool
    joins: bool
    requested: RequestView | None


class PartitionsView(Shape):
    partitions: dict[str, PartitionView]


class OneWayView(Shape):
    """An overflow: `to` may have what is in `from` and its group. It ends with a booking, or by hand."""

    name: str
    from_: str = Field(alias="from")
    to: str
    carries: list[Literal["sound", "picture"]]
    since: Stamp
    ends: Literal["booking", "hand"]


class GroupsView(Shape):
    """`joins` are zones that are one group on purpose; `overflows` is their older name. `leads` are those of groups of
    several zones, by the first of these.
    """

    groups: list[list[str]]
    leads: dict[str, str]
    overflows: dict[str, list[str]]
    joins: dict[str, list[str]]
    one_way: dict[str, OneWayView]


class StateView(Shape):
    """All state at one time."""

    at: Stamp
    seq: int
    zones: dict[str, ZoneView]
    controllers: dict[str, FaceView]
    partitions: dict[str, PartitionView]
    groups: list[list[str]]
    leads: dict[str, str]
    overflows: dict[str, list[str]]
    one_way: dict[str, OneWayView]


class DateView(Shape):
    """One date of a booking. `from` and `until` are with set-up and clear-down."""

    occurrence: str
    title: str
    private: bool
    zones: list[str]
    start: Stamp
    end: Stamp
    from_: Stamp = Field(alias="from")
    until: Stamp
    status: Status
    transparent: bool
    attendance: int | None
    scene: str | None
    phase: Phase
    changed: bool


class BookingView(Shape):
    """A booking with its dates; set-up and clear-down in minutes."""

    booking: str
    uid: str
    etag: str
    title: str
    organiser: str
    private: bool
    zones: list[str]
    start: Stamp
    end: Stamp
    set_up: float
    clear_down: float
    attendance: int | None
    scene: str | None
    status: Status
    rrule: str | None
    occurrences: list[DateView]


class BookingsView(Shape):
    from_: Stamp = Field(alias="from")
    to: Stamp
    bookings: list[BookingView]


class Spell(Shape):
    start: Stamp
    end: Stamp


class Busy(Spell):
    kind: Literal["BUSY", "BUSY-TENTATIVE"]


class ZoneTimes(Shape):
    busy: list[Busy]
    free: list[Spell]


class FreeBusyView(Shape):
    from_: Stamp = Field(alias="from")
    to: Stamp
    zones: dict[str, ZoneTimes]


class EntryView(Shape):
    """An entry of the journal: who did what, and what came of it."""

    seq: int
    at: Stamp
    who: str
    via: str
    did: dict[str, Any]
    events: list[dict[str, Any]]


class EventsView(Shape):
    """`next` is the `after` of the page behind this one."""

    events: list[EntryView]
    next: int
