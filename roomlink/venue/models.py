"""The sections of a configuration as they are written. The JSON Schema is made from these same models.

What is sound between sections (names that must exist, values that must fit a control) is proved in ``references``.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from roomlink.limits import JOURNAL_KEEP_DAYS_MAX, JOURNAL_KEEP_DAYS_MIN
from roomlink.venue.alarm_models import Alarms
from roomlink.venue.base import Strict
from roomlink.venue.calendar_models import Calendar, Webhook
from roomlink.venue.controls import Control
from roomlink.venue.diary_models import Bookings, Crew, Routine
from roomlink.venue.equipment import (
    Binding,
    Contact,
    Device,
    Loudspeaker,
    Microphone,
    Override,
    Sound,
    SoundOutput,
    Supply,
    WallContacts,
    WallReport,
)
from roomlink.venue.evening_models import Paging, Presence
from roomlink.venue.fields import (
    Amount,
    Duration,
    Headcount,
    Label,
    LastingDuration,
    Line,
    Name,
    Outline,
    Part,
    Point,
    Scalar,
    Template,
    Timezone,
)
from roomlink.venue.station_models import ReadyLock, Station
from roomlink.venue.travel_models import Overflow, VenueSource


class Venue(Strict):
    """The site."""

    id: Name = Field(description="a name for programs, such as tidewater")
    name: Label | None = Field(None, description="the words for people")
    timezone: Timezone = Field(description="an IANA time zone, such as America/Halifax")
    idle_after: LastingDuration | None = Field(
        None,
        description="after so long without the service, zones without a booking are idle; 30min if not given",
    )


class ZoneType(Strict):
    """The logic that many zones share, written once."""

    controls: dict[Name, Control] = Field(description="the controls by name, each with its kind")
    idle: Name | None = Field(None, description="the scene that its zones have when nobody needs them")


class Zone(Strict):
    """The smallest space that can stand alone."""

    type: Name = Field(description="the name of a zone type")
    name: Label | None = Field(None, description="the words for people; {name} and {Name} stand for the repetition")
    outline: Outline | None = Field(None, description="its corners in metres, y downwards")
    idle: Name | None = Field(None, description="the scene that it has when nobody needs it; its type's if not given")
    controls: dict[Name, dict[str, Any]] = Field(
        default_factory=dict,
        description="members that differ from the zone type's, by control; or a control of its own, with its kind",
    )
    repeat: list[Part] | None = Field(None, description="stamp the zone out once for each of these")
    step: Point | None = Field(None, description="how far each repetition lies from the one before, in metres")


class Partition(Strict):
    """An operable wall between two zones. It is sensed or told, never driven."""

    between: list[Template] = Field(description="the two zones that it parts, such as [heron, plover]")
    line: Line | None = Field(None, description="where it stands when closed, in metres")
    settle: Duration = Field(
        2.0, description="how long a position must be steady to count", json_schema_extra={"default": "2s"}
    )
    on_unknown: Literal["hold", "closed"] = Field("hold", description="hold the last known position, or take closed")
    move_limit: Duration = Field(
        600.0, description="moving for longer is an alarm", json_schema_extra={"default": "10min"}
    )
    move_minutes: Amount | None = Field(None, description="how long a crew takes to move it, in minutes")
    combine: Literal["auto", "ask", "hand"] = Field(
        "auto", description="when it opens: combine its zones, ask people whether to, or leave it to them"
    )
    name: Label | None = Field(None, description="the words for people")
    contacts: WallContacts | None = Field(
        None, description="where its contacts are read, closed: and stacked:, or simulated for a demo"
    )
    report: WallReport | None = Field(None, description="where its position is read, if a device reports it as a value")
    after: list[Template] = Field(
        default_factory=list, description="walls on the same track that are moved before it, whichever way"
    )
    pass_door: Contact | None = Field(
        None, description="where the door in it is read, made when closed; it is shown, and joins nothing"
    )
    repeat: list[Part] | None = Field(None, description="stamp the wall out once for each of these")
    step: Point | None = Field(None, description="how far each repetition lies from the one before, in metres")


class Controller(Strict):
    """A logical control surface."""

    home: Template = Field(description="the zone that it belongs to")
    name: Label | None = Field(None, description="the words for people")
    feedback: Literal["mismatch-flag", "majority", "last-linked"] = Field(
        "mismatch-flag", description="what is shown when the linked zones disagree"
    )
    on_link: Literal["keep", "carry", "pickup"] = Field("keep", description="what happens to levels at linking")
    level_mode: Literal["same", "offset"] = Field("same", description="one value for all zones, or one shift")
    panel: Literal["seen", "expected", "none"] = Field(
        "seen", description="whether its panel is missed when it leads: expected, none, or once one was seen"
    )
    reach: list[Template] | None = Field(None, description="the zones that it may link by hand; all if not given")
    hand_links_on_close: Literal["end", "keep"] = Field(
        "end", description="links by hand when the wall between closes, and at a booking's end; keep: a roving panel"
    )
    repeat: list[Part] | None = Field(None, description="stamp the controller out once for each of these")


class Combining(Strict):
    """What happens when walls open and close."""

    lead_order: list[Name] = Field(default_factory=list, description="controllers, the first in a group leads it")
    others: Literal["mirror", "lock", "own"] = Field("own", description="what the group's other controllers do")
    blend: Duration = Field(0.0, description="how long levels take", json_schema_extra={"default": "0s"})
    restore_for: Duration = Field(
        3600.0,
        description="so long after it stood alone a zone gets back what it had, and in the same booking; later idle",
        json_schema_extra={"default": "1h"},
    )
    on_combine: dict[Name, Scalar] = Field(
        default_factory=dict, description="by control: lead, keep, quietest, loudest, mean or a value"
    )
    on_separate: dict[Name, Scalar] = Field(default_factory=dict, description="by control: restore, keep or a value")


class Arrangement(Strict):
    """Positions of walls under one name, to be stated at one touch. It moves no wall."""

    name: Label | None = Field(None, description="the words for people")
    walls: dict[Name, Literal["open", "closed"]] = Field(description="open or closed, by wall; others stay as they are")
    pin: LastingDuration = Field(
        43200.0, description="how long the positions are stated for", json_schema_extra={"default": "12h"}
    )


class Scene(Strict):
    """Stored values, recalled together: for a type's zones or one zone, or for each of several zones."""

    name: Label | None = Field(None, description="the words for people")
    type: Name | None = Field(None, description="the zone type whose zones it is for")
    zone: Name | None = Field(None, description="the zone that it is for")
    values: dict[Name, Scalar] | None = Field(None, description="a value by control")
    zones: dict[Name, dict[Name, Scalar]] | None = Field(None, description="values by control, for each zone")


class Occupancy(Strict):
    """How many people may be in these zones when they are one room."""

    zones: list[Name] = Field(description="the zones that are one room")
    posted: Headcount = Field(description="the number of people on the posted sign")


class Journal(Strict):
    """How long everything is remembered as it was."""

    keep_days: int | None = Field(
        None,
        ge=JOURNAL_KEEP_DAYS_MIN,
        le=JOURNAL_KEEP_DAYS_MAX,
        strict=True,
        description="older level changes by hand are kept only as what they came to; all else stays for good (never)",
    )


class Configuration(Strict):
    """A venue: every YAML file of one folder, read as one."""

    venue: Venue = Field(description="id, name and timezone")
    zone_types: dict[Name, ZoneType] = Field(default_factory=dict)
    zones: dict[Name, Zone] = Field(default_factory=dict)
    partitions: dict[Name, Partition] = Field(default_factory=dict)
    controllers: dict[Name, Controller] = Field(default_factory=dict)
    combining: Combining | None = None
    arrangements: dict[Name, Arrangement] = Field(default_factory=dict)
    scenes: dict[Name, Scene] = Field(default_factory=dict)
    occupancy: list[Occupancy] = Field(default_factory=list)
    bookings: Bookings = Field(default_factory=Bookings)
    routines: dict[Name, Routine] = Field(default_factory=dict)
    crews: dict[Name, Crew] = Field(default_factory=dict)
    devices: dict[Name, Device] = Field(default_factory=dict)
    supplies: dict[Name, Supply] = Field(default_factory=dict)
    bindings: list[Binding] = Field(default_factory=list)
    overrides: dict[Name, Override] = Field(default_factory=dict)
    stations: dict[Name, Station] = Field(default_factory=dict)
    locks: dict[Name, ReadyLock] = Field(default_factory=dict)
    sound: Sound = Field(default_factory=Sound)
    microphones: dict[Name, Microphone] = Field(default_factory=dict)
    venue_sources: dict[Name, VenueSource] = Field(default_factory=dict)
    overflows: dict[Name, Overflow] = Field(default_factory=dict)
    loudspeakers: dict[Name, Loudspeaker] = Field(default_factory=dict)
    calendar: Calendar = Field(default_factory=Calendar)
    alarms: Alarms = Field(default_factory=Alarms)
    paging: dict[Name, Paging] = Field(default_factory=dict)
    presence: dict[Name, Presence] = Field(default_factory=dict)
    webhooks: list[Webhook] = Field(default_factory=list)
    journal: Journal = Field(default_factory=Journal)
    sound_outputs: list[SoundOutput] = Field(default_factory=list)
