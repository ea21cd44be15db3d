"""What happens to what travels: one-way overflows, and radio microphones that go to another zone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from roomlink.core.travel_spec import CARRIES


@dataclass(frozen=True, slots=True)
class OneWay:
    """An overflow: the zone ``to`` may have what is in ``source`` and its group; nothing goes the other way.

    ``booking`` is the occurrence, (booking, key), with which it ends; None: it stands until somebody ends it.
    """

    source: str
    to: str
    carries: tuple[str, ...] = CARRIES
    since: float = 0.0
    by: str = ""
    booking: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class OneWaySet:
    """An overflow stands, or is another one."""

    overflow: str
    now: OneWay


@dataclass(frozen=True, slots=True)
class OneWayEnded:
    overflow: str
    why: str


@dataclass(frozen=True, slots=True)
class MicrophoneAssigned:
    """A radio microphone belongs to this zone now; None: to the one that the configuration says."""

    microphone: str
    zone: str | None


TravelEvent = OneWaySet | OneWayEnded | MicrophoneAssigned
TRAVEL_EVENTS: dict[str, type[Any]] = {
    "one-way": OneWaySet,
    "one-way-ended": OneWayEnded,
    "microphone-assigned": MicrophoneAssigned,
}
TRAVEL_RECORDS: dict[type[Any], type[Any]] = {OneWaySet: OneWay}
