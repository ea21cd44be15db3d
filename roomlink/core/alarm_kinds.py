"""What alarms there are: their kinds, priorities and states, and what the configuration says of them.

The states are those of ISA-18.2 and IEC 62682, known second-hand; so is the figure for a flood.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

PRIORITIES = ("high", "medium", "low")
"""From most to least urgent."""

NORMAL = "normal"
UNACKNOWLEDGED = "unacknowledged"
ACKNOWLEDGED = "acknowledged"
RETURNED = "returned"
"""The condition is over, and nobody has acknowledged it yet."""
SHELVED = "shelved"
SUPPRESSED = "suppressed"
"""By design: the configuration says when it means nothing."""
OUT_OF_SERVICE = "out-of-service"

STATES = (UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED, SUPPRESSED, OUT_OF_SERVICE, NORMAL)
SPEAKING = (UNACKNOWLEDGED, ACKNOWLEDGED)
"""States in which the condition stands and people are told."""
QUIET = (SHELVED, SUPPRESSED, OUT_OF_SERVICE)
"""States in which the condition comes and goes without anybody being told."""

TYPES = {
    "raise": "alarm.raised",
    "clear": "alarm.cleared",
    "acknowledge": "alarm.acknowledged",
    "shelve": "alarm.shelved",
    "unshelve": "alarm.unshelved",
    "suppress": "alarm.suppressed",
    "unsuppress": "alarm.unsuppressed",
    "remove": "alarm.out-of-service",
    "return": "alarm.in-service",
    "quiet": "alarm.quiet",
    "renew": "alarm.changed",
}
"""Cause of a change to what others are told of it. Causes that are not here (``toggle``, ``kept``) are no news."""


def told(cause: str, state: str) -> str | None:
    """What others are told of a change by ``cause`` into ``state``; None where it is no news to them."""
    return None if cause in ("raise", "clear") and state in QUIET else TYPES.get(cause)


@dataclass(frozen=True, slots=True)
class Kind:
    """The part of an alarm's name before the slash. The part after it is a name of ``section``; without one
    the kind is the whole name.
    """

    priority: str
    section: str = ""


KINDS: dict[str, Kind] = {
    "override-lost": Kind("high", "overrides"),
    "wall-unknown": Kind("medium", "partitions"),
    "wall-late": Kind("medium", "partitions"),
    "fence": Kind("medium", "partitions"),
    "turn-late": Kind("high", "partitions"),
    "device-lost": Kind("medium", "devices"),
    "panel-lost": Kind("medium", "controllers"),
    "journal": Kind("high"),
    "journal-found": Kind("medium"),
    "clock": Kind("medium"),
    "configuration": Kind("medium"),
    "slow": Kind("medium"),
    "feed": Kind("low", "feeds"),
    "webhook": Kind("low", "webhooks"),
    "webhook-given-up": Kind("medium", "webhooks"),
}


def kind_of(alarm: str) -> Kind:
    """What an alarm is; of those that are not listed it is known that they are none of the list."""
    return KINDS.get(alarm) or KINDS.get(alarm.partition("/")[0]) or Kind("medium")


def about(alarm: str) -> tuple[str, str]:
    """The section of the configuration and the name in it that an alarm is about; both empty for the service itself."""
    section = kind_of(alarm).section
    return (section, alarm.partition("/")[2]) if section else ("", "")


def named(data: Mapping[str, Any], section: str) -> list[str]:
    """The names in a section of resolved configuration."""
    found = data.get("calendar", {}).get("feeds", ()) if section == "feeds" else data.get(section, ())
    return list(found) if isinstance(found, Mapping) else [one["name"] for one in found]


def possible(data: Mapping[str, Any]) -> list[str]:
    """Every alarm that there can be with this resolved configuration."""
    found: list[str] = []
    for kind, one in KINDS.items():
        found += [f"{kind}/{name}" for name in named(data, one.section)] if one.section else [kind]
    return found


@dataclass(frozen=True, slots=True)
class Suppression:
    """``alarm`` (a whole name, or a kind) is suppressed while the override or the other alarm stands; else always."""

    alarm: str
    why: str
    override: str | None = None
    other: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmsSpec:
    """``priorities`` by whole name or by kind; the whole name counts before the kind."""

    priorities: Mapping[str, str] = field(default_factory=dict)
    suppressed: tuple[Suppression, ...] = ()

    def priority(self, alarm: str) -> str:
        kind = alarm.partition("/")[0]
        return self.priorities.get(alarm) or self.priorities.get(kind) or kind_of(alarm).priority


def alarms_spec(data: Mapping[str, Any]) -> AlarmsSpec:
    """What the resolved section ``alarms`` says; an older configuration has none."""
    return AlarmsSpec(data.get("priorities", {}), tuple(Suppression(**one) for one in data.get("suppressed", ())))
