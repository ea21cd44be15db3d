"""The sections of a configuration that the diary needs, as they are written: usual times, routines, crews."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from roomlink.venue.base import Strict
from roomlink.venue.fields import Duration, Label, LastingDuration, Name, shown, wrong

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_CLOCK = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]|24:00")
_PART = re.compile(r"(?:\*|(\w+)(?:-(\w+))?)(?:/([1-9][0-9]?))?")


def cron_field(lo: int, hi: int, names: tuple[str, ...] = ()) -> Callable[[object], str]:
    """A check of a cron field: ``*``, a value, a range, each with a step, or several of them with commas between.

    Days of the week have names only: their numbers begin on Sunday in one program and on Monday in the next.
    """
    right = f"write {', '.join(names) or f'{lo} to {hi}'}, a range with - between, or *; several with commas"

    def place(text: str) -> int:
        if text in names:
            return names.index(text)
        if names or not text.isdecimal() or not lo <= int(text) <= hi:
            raise wrong(f"{text!r} is not allowed here", right)
        return int(text)

    def check(value: object) -> str:
        if isinstance(value, bool) or not isinstance(value, int | str):
            raise wrong(f"{shown(value)} is not a cron field", right)
        text = str(value).replace(" ", "").lower()
        for part in text.split(","):
            found = _PART.fullmatch(part)
            if found is None:
                raise wrong(f"{shown(value)} is not a cron field", right)
            first = place(found[1]) if found[1] else lo
            if found[2] and place(found[2]) < first:
                raise wrong(f"{part!r} ends before it begins", right)
        return text

    return check


def time_of_day(value: object) -> str:
    """A time of day in the venue's time zone; 24:00 is the end of the day."""
    if not isinstance(value, str) or not _CLOCK.fullmatch(value):
        raise wrong(f"{shown(value)} is not a time of day", 'write it in quotes, from "00:00" to "24:00"')
    return value


_FIELD: dict[str, Any] = {"type": ["integer", "string"]}
Minute = Annotated[str, BeforeValidator(cron_field(0, 59)), WithJsonSchema(_FIELD)]
Hour = Annotated[str, BeforeValidator(cron_field(0, 23)), WithJsonSchema(_FIELD)]
DayOfMonth = Annotated[str, BeforeValidator(cron_field(1, 31)), WithJsonSchema(_FIELD)]
Month = Annotated[str, BeforeValidator(cron_field(1, 12)), WithJsonSchema(_FIELD)]
DayOfWeek = Annotated[str, BeforeValidator(cron_field(0, 6, DAYS)), WithJsonSchema(_FIELD)]
TimeOfDay = Annotated[
    str, BeforeValidator(time_of_day), WithJsonSchema({"type": "string", "pattern": "^([01][0-9]|2[0-4]):[0-5][0-9]$"})
]


class Bookings(Strict):
    """What bookings have where they say nothing else."""

    set_up: Duration = Field(
        0.0, description="how long before its start a booking has its zones", json_schema_extra={"default": "0s"}
    )
    clear_down: Duration = Field(
        0.0, description="how long after its end a booking keeps its zones", json_schema_extra={"default": "0s"}
    )
    infeasible: Literal["refuse", "flag"] = Field(
        "flag", description="what becomes of a booking whose walls the crews cannot move in time"
    )
    warn: Duration = Field(
        600.0,
        description="how long before the end the guests are told; 0s: never",
        json_schema_extra={"default": "10min"},
    )
    extend: list[LastingDuration] = Field(
        [900.0, 1800.0],
        description="how much longer they may have it then, if the zones are free",
        json_schema_extra={"default": ["15min", "30min"]},
    )


class Cron(Strict):
    """When a routine runs: cron fields in the venue's time zone; day and day_of_week must both fit."""

    minute: Minute = Field("0", description="0 to 59")
    hour: Hour = Field("*", description="0 to 23")
    day: DayOfMonth = Field("*", description="day of the month, 1 to 31")
    month: Month = Field("*", description="1 to 12")
    day_of_week: DayOfWeek = Field("*", description="mon to sun, such as mon-fri")


class Routine(Strict):
    """A scene that recurs outside bookings."""

    name: Label | None = Field(None, description="the words for people")
    scene: Name = Field(description="the scene to recall")
    cron: Cron = Field(description="when it runs, such as {hour: 23, minute: 30}")
    zones: list[Name] | None = Field(None, description="where; the scene's own zones if not given")
    over: Duration = Field(0.0, description="how long the change takes", json_schema_extra={"default": "0s"})
    when_busy: Literal["skip", "defer"] = Field(
        "skip", description="in a zone that a booking holds: leave it out, or wait until the zone is free"
    )
    unless_used: Duration = Field(
        0.0,
        description="put off for so long after a use by hand, or while somebody is there; 0s: it runs all the same",
        json_schema_extra={"default": "0s"},
    )
    warn: Duration = Field(
        300.0,
        description="how long before it those are told whom it would surprise",
        json_schema_extra={"default": "5min"},
    )


class Crew(Strict):
    """People who move walls, one wall at a time."""

    name: Label | None = Field(None, description="the words for people")
    start: TimeOfDay = Field("00:00", description="from when they are there, in the venue's time zone")
    end: TimeOfDay = Field("24:00", description="until when they are there; before start: on the next day")
