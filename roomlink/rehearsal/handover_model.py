"""What a handover is made from, and the tables that it is made into."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from roomlink.core import view
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.rehearsal.survey import Survey
from roomlink.venue.load import Loaded

Row = tuple[str, ...]


@dataclass(frozen=True)
class Handover:
    """All that goes into the documents. ``state`` holds the commissioning records and armings, and nothing else.

    ``date`` is that of the documents, as ISO 8601; ``recorded`` is the digest of the configuration that the journal
    ended with, None where no journal was given.
    """

    loaded: Loaded
    survey: Survey
    state: State
    date: str
    version: str
    recorded: str | None = None
    registry: Registry = field(default_factory=Registry.of)

    @property
    def data(self) -> Mapping[str, Any]:
        return self.loaded.data

    def zone(self, zone: str) -> str:
        return str(self.data["zones"][zone]["name"] or zone)

    def panel(self, controller: str | None) -> str:
        return "nobody" if controller is None else str(self.data["controllers"][controller]["name"] or controller)

    def when(self, at: str) -> str:
        """A time of RFC 3339, to the minute in the venue's time zone."""
        zone = ZoneInfo(self.loaded.spec.timezone)
        return datetime.fromisoformat(at).astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")

    def checks(self) -> dict[str, Any]:
        """The commissioning items as ``GET /commissioning`` gives them."""
        return view.commissioning(self.state)


@dataclass(frozen=True, slots=True)
class Table:
    """``name`` is that of its CSV file; every row is as long as ``heads``."""

    name: str
    heads: Row
    rows: tuple[Row, ...]


Maker = tuple[str, Row, Callable[[Handover], Iterator[Row]]]
"""A table to be: the name of its file, its heads, what gives its rows."""
