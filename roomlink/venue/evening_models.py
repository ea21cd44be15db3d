"""The sections about paging and presence as they are written. A part of ``models``."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from roomlink.venue.base import Strict
from roomlink.venue.equipment import AllOrZones, Contact
from roomlink.venue.fields import Amount, Label, LastingDuration, Name


class Paging(Strict):
    """Somebody speaks over the programme: it is lower meanwhile."""

    name: Label | None = Field(None, description="the words for people")
    input: Contact | None = Field(None, description="where it is read whether somebody pages; or give control:")
    control: Annotated[str, Field(pattern=r"^[^.]+\.[^.]+$")] | None = Field(
        None, description="zone.control of a momentary that pages while it is held; or give input:"
    )
    zones: AllOrZones = Field(None, description="where the programme is lower, or all")
    ducks: list[Name] = Field(description="the levels that are lower meanwhile, such as [volume]")
    by: Amount = Field(description="by how much, in the unit of these levels, such as 12")
    most: LastingDuration = Field(
        60.0, description="it ends by itself after so long", json_schema_extra={"default": "60s"}
    )


class Presence(Contact):
    """A sensor that says whether somebody is in the zone; made is the value that says so."""
