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
    parts, zone_of = [tuple(group) for group in groups], _zones_of(data)
    opened = [name for name in zone_of if open_microphones == "all" or name in open_microphones]
    heard = {name: part for name in opened for part in parts if zone_of[name] in part}
    return [_group(data, part, zone_of, heard) for part in parts]


def plan_heard(
    data: Mapping[str, Any],
    groups: Iterable[Sequence[str]],
    zone_of: Mapping[str, str],
    heard: Mapping[str, Sequence[str]],
) -> list[GroupPlan]:
    """A plan for each of ``groups``, with each microphone in its zone of now, and heard in these zones alone."""
    return [_group(data, tuple(group), {**_zones_of(data), **zone_of}, heard) for group in groups]


def _zones_of(data: Mapping[str, Any]) -> dict[str, str]:
    return {name: m["zone"] for name, m in data["microphones"].items()}


def _group(
    data: Mapping[str, Any], zones: tuple[str, ...], zone_of: Mapping[str, str], heard: Mapping[str, Sequence[str]]
) -> GroupPlan:
    sound, loudspeakers = data["sound"], data["loudspeakers"]
    microphones = [name for name in data["microphones"] if zone_of[name] in zones]
    opened = tuple(name for name in microphones if heard.get(name))

    def gain(name: str, zone: str) -> float | Literal["off"]:
        # Nothing reaches loudspeakers beyond a closed wall, but where an overflow carries it.
        if zone not in heard.get(name, ()):
            return OFF
        down = open_microphone_attenuation(sum(zone in there for there in heard.values()))
        own = sound["own_zone_reduction"] if zone_of[name] == zone else 0.0
        return float(0.0 - down - own)

    reference = sound["reference"]
    placed = [name for name in opened if data["microphones"][name]["at"] is not None]
    talker = reference if reference in placed else next(iter(placed), None)
    here = data["microphones"][talker]["at"] if talker is not None else None
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
