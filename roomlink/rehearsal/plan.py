"""A venue's specification laid out for the watch: small tables, and the groups found by union, not by walking."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from roomlink.core.records import Control, Level, Momentary, Motion
from roomlink.core.spec import ChoiceSpec, CombiningSpec, ControlSpec, LevelSpec, OverrideSpec, Spec, Value

Group = tuple[str, ...]
Key = tuple[str, str]
"""(zone, control)"""


@dataclass(frozen=True, slots=True)
class Plan:
    """What the watch asks of a venue, worked out once."""

    spec: Spec
    zones: tuple[str, ...]
    walls: Mapping[str, tuple[str, str]]
    homes: Mapping[str, str]
    """Controller to its home."""
    lead_order: tuple[str, ...]
    combining: CombiningSpec | None
    overrides: Mapping[str, OverrideSpec]
    controls: Mapping[Key, ControlSpec]
    keys_of: Mapping[str, Mapping[str, Key]]
    gaps: Mapping[Key, float]
    local: Mapping[Key, bool]
    travelling: list[Key]
    """Choices whose sources travel."""
    momentaries: list[Key]
    reporters: frozenset[str]
    """Devices and overrides: what they report is taken as it is, without a gap."""

    @classmethod
    def of(cls, spec: Spec) -> Plan:
        controls = {(zone, name): c for zone, z in spec.zones.items() for name, c in z.controls.items()}
        return cls(
            spec=spec,
            zones=tuple(spec.zones),
            walls={name: wall.between for name, wall in spec.partitions.items()},
            homes={name: controller.home for name, controller in spec.controllers.items()},
            lead_order=spec.combining.lead_order if spec.combining else (),
            combining=spec.combining,
            overrides=spec.overrides,
            controls=controls,
            keys_of={zone: {name: (zone, name) for name in z.controls} for zone, z in spec.zones.items()},
            gaps={key: c.gap for key, c in controls.items() if isinstance(c, ChoiceSpec)},
            local={key: c.scope == "local" for key, c in controls.items()},
            travelling=[key for key, c in controls.items() if isinstance(c, ChoiceSpec) and c.sources],
            momentaries=[key for key, c in controls.items() if c.kind == "momentary"],
            reporters=frozenset((*spec.data.get("devices", {}), *(f"{name} override" for name in spec.overrides))),
        )

    def lead_of(self, group: Iterable[str]) -> str | None:
        """The first of the lead order that is at home in ``group``."""
        inside = set(group)
        return next((controller for controller in self.lead_order if self.homes[controller] in inside), None)


def components(plan: Plan, opened: Iterable[str], overflows: Iterable[Iterable[str]]) -> dict[str, Group]:
    """Zone to its group, by uniting the ends of each open wall and the zones of each overflow."""
    root = {zone: zone for zone in plan.zones}

    def find(zone: str) -> str:
        while root[zone] != zone:
            root[zone] = zone = root[root[zone]]
        return zone

    ties = [plan.walls[wall] for wall in opened]
    for first, *others in overflows:
        ties += [(first, other) for other in others]
    for a, b in ties:
        root[find(a)] = find(b)
    members: dict[str, list[str]] = {}
    for zone in plan.zones:
        members.setdefault(find(zone), []).append(zone)
    return {zone: tuple(group) for group in members.values() for zone in group}


def wanted(record: Control, now: float, *, held: bool) -> Value:
    """What a control is, or is on its way to; a level that a hand holds counts where it is."""
    if isinstance(record, Level):
        return record.at(now) if held else record.to
    if isinstance(record, Momentary | Motion):
        return None
    return record.value if record.pending is None else record.pending


def clamped(spec: ControlSpec, value: Value) -> Value:
    """A level's value within what an order can reach; anything else as it is."""
    if isinstance(spec, LevelSpec) and isinstance(value, int | float):
        return min(max(float(value), spec.lo), spec.hi if spec.ceiling is None else min(spec.hi, spec.ceiling))
    return value
