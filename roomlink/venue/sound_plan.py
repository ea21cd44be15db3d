"""A plan of gains and delays for reinforcing talk in joined zones. Pure arithmetic over the resolved data.

It advises, and nothing more: see ``ADVICE``.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

ADVICE = "This is where to begin: a person with ears and a meter tunes the rooms."
OFF: Literal["off"] = "off"


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """One group: gains in dB (or ``off``) by microphone and loudspeakers, delays in milliseconds by loudspeakers.

    ``gains`` has every microphone of the group and every loudspeaker zone of the venue; ``delays`` those of the group,
    counted from where ``talker`` stands, and is empty where no microphone is open.
    """

    zones: tuple[str, ...]
    open: tuple[str, ...]
    talker: str | None
    gains: Mapping[str, Mapping[str, float | Literal["off"]]]
    delays: Mapping[str, float]
    advice: str = ADVICE


def open_microphone_attenuation(count: int) -> float:
    """By how many dB ``count`` open microphones, 1 or more, are turned down, so that together they add up to one."""
    return 10.0 * math.log10(count)


def speed_of_sound(temperature: float) -> float:
    """Metres a second in air of ``temperature`` °C: ISO 9613-1's formula, as read in python-acoustics."""
    return 343.2 * math.sqrt((temperature + 273.15) / 293.15)


def delay(metres: float, temperature: float) -> float:
    """Milliseconds that sound takes over ``metres`` in air of ``temperature`` °C."""
    return 1000.0 * metres / speed_of_sound(temperature)


def plan(
    data: Mapping[str, Any], groups: Iterable[Sequence[str]], open_microphones: Literal["all"] | Collection[str] = "all"
) -> list[GroupPlan]:
    """A plan for each of ``groups`` (lists of zones), with these microphones open; other names are of no account."""
    return [_group(data, tuple(group), open_microphones) for group in groups]


def _group(data: Mapping[str, Any], zones: tuple[str, ...], open_microphones: str | Collection[str]) -> GroupPlan:
    sound, loudspeakers = data["sound"], data["loudspeakers"]
    microphones = {name: m for name, m in data["microphones"].items() if m["zone"] in zones}
    opened = tuple(name for name in microphones if open_microphones == "all" or name in open_microphones)
    down = open_microphone_attenuation(len(opened)) if opened else 0.0

    def gain(name: str, zone: str) -> float | Literal["off"]:
        # Nothing reaches loudspeakers beyond a closed wall.
        if name not in opened or zone not in zones:
            return OFF
        own = sound["own_zone_reduction"] if microphones[name]["zone"] == zone else 0.0
        return float(0.0 - down - own)

    reference = sound["reference"]
    talker = reference if reference in opened else next(iter(opened), None)
    here = microphones[talker]["at"] if talker is not None else None
    return GroupPlan(
        zones,
        opened,
        talker,
        {name: {other: gain(name, speaker["zone"]) for other, speaker in loudspeakers.items()} for name in microphones},
        {
            other: delay(math.dist(here, speaker["at"]), sound["temperature"])
            for other, speaker in loudspeakers.items()
            if here is not None and speaker["zone"] in zones
        },
    )
