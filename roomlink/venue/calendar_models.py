"""The sections ``calendar`` and ``webhooks`` as they are written."""

from __future__ import annotations

from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, WithJsonSchema

from roomlink.venue.base import Strict
from roomlink.venue.fields import Duration, Flag, Label, LastingDuration, Name, shown, wrong

Family = Literal["booking", "wall", "group", "alarm"]
FAMILIES: tuple[Family, ...] = ("booking", "wall", "group", "alarm")
EVERY_S_MIN = 60.0
"""Polling somebody's calendar more often than this is no use to anybody."""
TIMEOUT_S_MAX = 60.0


def url(value: str) -> str:
    """An address by HTTP."""
    try:
        parts = urlsplit(value)
        sound = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        sound = False
    if not sound or not value.isprintable() or " " in value:
        raise wrong(f"{shown(value)} is not an address", "write it as https://calendar.example/hall.ics")
    return value


Url = Annotated[str, AfterValidator(url), WithJsonSchema({"type": "string", "format": "uri", "pattern": "^https?://"})]


def often(value: float) -> float:
    if value < EVERY_S_MIN:
        raise wrong("that is more often than a calendar changes", f"write at least {EVERY_S_MIN:g}s")
    return value


def patient(value: float) -> float:
    if not 0 < value <= TIMEOUT_S_MAX:
        raise wrong("nobody waits so long for an answer, or so shortly", f"write a duration up to {TIMEOUT_S_MAX:g}s")
    return value


Every = Annotated[Duration, AfterValidator(often)]
Timeout = Annotated[LastingDuration, AfterValidator(patient)]


class Feed(Strict):
    """A calendar that is followed: one elsewhere, or a file."""

    name: Name = Field(description="a name for programs, such as events-office")
    url: Url | None = Field(None, description="where the calendar is, by http or https")
    file: str | None = Field(
        None, min_length=1, description="or the calendar file, whose name counts from the venue's folder"
    )
    every: Every = Field(900.0, description="how often to ask for it", json_schema_extra={"default": "15min"})
    timeout: Timeout = Field(20.0, description="how long to wait for an answer", json_schema_extra={"default": "20s"})
    zones: list[Name] = Field(default_factory=list, description="the zones of events that say no place")
    accept_free: Flag = Field(False, description="leave dates that are taken out of a series, instead of refusing it")
    gone: Literal["cancel", "keep"] = Field("cancel", description="what becomes of events that it no longer has")


class Calendar(Strict):
    """How calendars and this venue understand one another."""

    rooms: dict[Label, list[Name]] = Field(
        default_factory=dict, description="a room as calendars call it, and its zones, such as Ballroom A: [heron]"
    )
    feeds: list[Feed] = Field(default_factory=list, description="calendars to follow")


class Webhook(Strict):
    """Somebody who is told what happens, signed as Standard Webhooks has it."""

    name: Name = Field(description="a name for programs, such as booking-system")
    url: Url = Field(description="where messages are posted, by http or https")
    secret_file: str = Field(min_length=1, description="the file whose first line is the secret, whsec_ and base64")
    events: list[Family] = Field(
        default_factory=lambda: list(FAMILIES), description="what it is told: booking, wall, group, alarm"
    )
    timeout: Timeout = Field(15.0, description="how long to wait for an answer", json_schema_extra={"default": "15s"})
    give_up: LastingDuration = Field(
        86400.0, description="how old a message may get before it is put aside", json_schema_extra={"default": "24h"}
    )
