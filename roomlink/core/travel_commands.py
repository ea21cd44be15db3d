"""What can be asked of what travels."""

from __future__ import annotations

from dataclasses import dataclass

from roomlink.core.actor import Actor


@dataclass(frozen=True, slots=True)
class StartOverflow:
    """Let ``to`` have what is in ``source``, one way. None takes what the configuration says under that name."""

    by: Actor
    overflow: str
    source: str | None = None
    to: str | None = None
    carries: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class EndOverflow:
    by: Actor
    overflow: str


@dataclass(frozen=True, slots=True)
class AssignMicrophone:
    """A radio microphone is used in another zone from now on; it is muted there until somebody opens it."""

    by: Actor
    microphone: str
    zone: str


TravelCommand = StartOverflow | EndOverflow | AssignMicrophone
