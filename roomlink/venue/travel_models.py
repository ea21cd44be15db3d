"""The sections ``venue_sources`` and ``overflows`` as they are written. A part of ``models``."""

from __future__ import annotations

from pydantic import Field

from roomlink.core.travel_spec import CARRIES
from roomlink.venue.base import Strict
from roomlink.venue.fields import Carries, Label, Name


class VenueSource(Strict):
    """A source that belongs to no zone: every choice with ``sources: true`` offers it, whatever the walls."""

    name: Label | None = Field(None, description="the words for people")
    carries: Carries = Field(list(CARRIES), description="sound, picture or both: choices that take it offer it")


class Overflow(Strict):
    """A one-way overflow that people start by its name: ``to`` has what is in ``from``, and sends nothing back."""

    name: Label | None = Field(None, description="the words for people")
    source: Name = Field(alias="from", description="the zone where it happens")
    to: Name = Field(description="the zone that hears and sees it")
    carries: Carries = Field(list(CARRIES), description="sound, picture or both")
