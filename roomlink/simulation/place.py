"""What can be named in a venue and in all that its configuration may become: what dice choose from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from roomlink.core.spec import Value, from_data
from roomlink.drivers.registry import Registry
from roomlink.runtime.wiring import wire

NOWHERE = "nowhere"
"""A name that nothing has: what is asked of it must be refused."""


@dataclass(frozen=True)
class Place:
    """Names in the order of the configuration, those of all variants."""

    zones: list[str]
    walls: list[str]
    simulated: list[str]
    controllers: list[str]
    controls: dict[str, Mapping[str, Any]]
    scenes: list[str]
    overrides: list[str]
    bindings: list[str]
    routines: list[str]
    microphones: list[str]
    brought: list[str]
    """Sources that belong to no zone, as choices name them."""
    devices: list[str]
    points: list[tuple[str, str]]
    """(device, point) of everything that is driven."""
    inputs: list[tuple[str, str]]
    variants: int

    def control(self, dice: Random) -> str:
        return dice.choice([*self.controls] * 20 + [NOWHERE])

    def value(self, dice: Random, control: str) -> Value:
        """One that the control may take, or (rarely) may not."""
        spec = self.controls.get(control, {"kind": "none"})
        if spec["kind"] == "level":
            lo, hi = float(spec["lo"]), float(spec["hi"])
            return round(dice.uniform(lo - 1.0, hi + 1.0), 1)
        if spec["kind"] == "choice":
            own = [str(option) for option in spec["options"]]
            return dice.choice([*own * 3, "none", f"{dice.choice(self.zones)}/{dice.choice(own)}", *self.brought])
        return dice.random() < 0.5

    def zone(self, dice: Random) -> str:
        return dice.choice(self.zones * 20 + [NOWHERE])

    def some_zones(self, dice: Random, most: int = 3) -> tuple[str, ...]:
        return tuple(dice.sample(self.zones, dice.randint(1, min(most, len(self.zones)))))


def place_of(variants: Iterable[Mapping[str, Any]]) -> Place:
    """The names of a venue's configurations."""
    registry, datas = Registry.of(), list(variants)
    wired = [wire(from_data(data), registry) for data in datas]

    def names(part: str) -> list[str]:
        return list(dict.fromkeys(name for data in datas for name in data.get(part) or {}))

    controls: dict[str, Mapping[str, Any]] = {}
    for data in datas:
        for zone in data["zones"].values():
            for name, spec in zone["controls"].items():
                controls.setdefault(name, spec)
    driven = dict.fromkeys(
        (name, point)
        for one in wired
        for name, device in one.items()
        for binding in device.bindings
        for point in binding.points.values()
    )
    read = dict.fromkeys((name, point) for one in wired for name, device in one.items() for point in device.inputs)
    keys = dict.fromkeys(
        (name, point)
        for one in wired
        for name, device in one.items()
        for point, parts in device.stations.items()
        if any(part.kind == "key" for part in parts)
    )
    return Place(
        zones=names("zones"),
        walls=names("partitions"),
        simulated=[n for n in names("partitions") if any(d["partitions"].get(n, {}).get("simulated") for d in datas)],
        controllers=names("controllers"),
        controls=controls,
        scenes=names("scenes"),
        overrides=names("overrides"),
        bindings=list(dict.fromkeys(one["name"] for data in datas for one in data.get("bindings", ()))),
        routines=names("routines"),
        microphones=names("microphones"),
        brought=[f"venue/{name}" for name in names("venue_sources")],
        devices=names("devices"),
        points=list(driven),
        inputs=[*read, *keys],
        variants=len(datas),
    )
