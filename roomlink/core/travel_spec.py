"""What travels, as the core sees it: sources of the whole venue, overflows with a name, and microphones.

Made from resolved configuration data, as ``spec`` is; a venue that says nothing of these has none of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

CARRIES = ("sound", "picture")
"""What a source gives, a choice takes and an overflow brings."""
VENUE = "venue"
"""Stands where a zone's name would, before the slash, for a source that belongs to none: ``venue/music``."""


@dataclass(frozen=True, slots=True)
class VenueSourceSpec:
    """A source that belongs to no zone and is on offer whatever the walls, such as background music."""

    name: str
    carries: tuple[str, ...] = CARRIES


@dataclass(frozen=True, slots=True)
class OverflowSpec:
    """A one-way overflow that is known by name: ``to`` has what is in ``source``, and sends nothing back."""

    name: str
    source: str
    to: str
    carries: tuple[str, ...] = CARRIES


@dataclass(frozen=True, slots=True)
class MicrophoneSpec:
    """A microphone of ``zone``; ``zones`` are those that have its controls, one unless it is a radio microphone.

    ``level`` and ``mute`` name its controls there. Without a mute it counts as open.
    """

    name: str
    zone: str
    zones: tuple[str, ...]
    level: str | None = None
    mute: str | None = None
    radio: bool = False


@dataclass(frozen=True)
class TravelSpec:
    """The sections ``venue_sources``, ``overflows`` and ``microphones``."""

    sources: Mapping[str, VenueSourceSpec] = field(default_factory=dict)
    overflows: Mapping[str, OverflowSpec] = field(default_factory=dict)
    microphones: Mapping[str, MicrophoneSpec] = field(default_factory=dict)

    @cached_property
    def roaming(self) -> Mapping[str, str]:
        """Control to the radio microphone that it belongs to: it counts in that one's zone alone."""
        radios = {name: spec for name, spec in self.microphones.items() if spec.radio}
        return {control: name for name, spec in radios.items() for control in (spec.level, spec.mute) if control}

    @cached_property
    def mutes(self) -> frozenset[str]:
        """The controls that mute microphones."""
        return frozenset(spec.mute for spec in self.microphones.values() if spec.mute)

    @cached_property
    def radios(self) -> tuple[str, ...]:
        """The radio microphones, in venue order."""
        return tuple(name for name, spec in self.microphones.items() if spec.radio)


def meet(a: Iterable[str], b: Iterable[str]) -> bool:
    """Whether two things carry something in common."""
    return not set(a).isdisjoint(b)


def travel_spec(data: Mapping[str, Any]) -> TravelSpec:
    """The sections of resolved configuration data; an older one may lack them, or members of them."""
    return TravelSpec(
        {n: VenueSourceSpec(v["name"], tuple(v["carries"])) for n, v in data.get("venue_sources", {}).items()},
        {
            n: OverflowSpec(v["name"], v["from"], v["to"], tuple(v["carries"]))
            for n, v in data.get("overflows", {}).items()
        },
        {n: _microphone(n, v) for n, v in (data.get("microphones") or {}).items()},
    )


def _microphone(name: str, data: Mapping[str, Any]) -> MicrophoneSpec:
    zones = tuple(data.get("zones") or (data["zone"],))
    radio = bool(data.get("radio", False))
    return MicrophoneSpec(data.get("name", name), data["zone"], zones, data.get("level"), data.get("mute"), radio)
