"""Who leads a group other than by the lead order, and panels that are gone: records, commands, events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from roomlink.core.actor import Actor
from roomlink.core.lock_records import LOCK_EVENTS, LOCK_RECORDS, LockEvent

TAKEN, HANDED_OVER = "taken", "handed-over"
"""Why somebody leads who would not by the lead order alone."""


@dataclass(frozen=True, slots=True)
class Lead:
    """``controller`` leads a group until its next regrouping: ``why`` is one of the above, ``by`` who made it so."""

    controller: str
    why: str
    since: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class LeadSet:
    """A group is led by ``now``."""

    group: tuple[str, ...]
    now: Lead


@dataclass(frozen=True, slots=True)
class LeadEnded:
    """A group is led by the lead order again."""

    group: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PanelSet:
    """The panel of a controller is gone since a stamp; None: it is there again."""

    controller: str
    since: float | None


@dataclass(frozen=True, slots=True)
class TakeLead:
    """A person has ``controller`` lead the group of its home."""

    by: Actor
    controller: str


@dataclass(frozen=True, slots=True)
class ReportPanel:
    """The panel of ``controller`` is gone for so long that it leads no more, or it is ``there`` again.

    ``others`` are the controllers that have a panel connected now.
    """

    by: Actor
    controller: str
    there: bool
    others: tuple[str, ...] = ()


LeadCommand = TakeLead | ReportPanel
HandEvent = LockEvent | LeadSet | LeadEnded | PanelSet
"""What people and panels that are gone make of locks and leads."""
HAND_EVENTS: dict[str, type[Any]] = {
    **LOCK_EVENTS,
    "lead": LeadSet,
    "lead-ended": LeadEnded,
    "panel": PanelSet,
}
HAND_RECORDS: dict[type[Any], type[Any]] = {**LOCK_RECORDS, LeadSet: Lead}
