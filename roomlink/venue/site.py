"""The spaces and surfaces of a venue, resolved: zones with their controls, partitions, controllers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from roomlink.limits import PARTITIONS_MAX, ZONES_MAX
from roomlink.venue import models
from roomlink.venue.controls import AnyControl, repeated, resolved
from roomlink.venue.findings import Path, Report, listing
from roomlink.venue.parse import parse_control, sound
from roomlink.venue.stamp import Stamp, claimed, stamp

Controls = Mapping[str, AnyControl | None]
"""The controls of a type or zone by name; None for one with mistakes, of which nothing more is said."""


@dataclass
class Site:
    """What scenes, rules and bindings refer to."""

    types: dict[str, Controls] = field(default_factory=dict)
    zone_types: dict[str, str] = field(default_factory=dict)
    zone_controls: dict[str, Controls] = field(default_factory=dict)
    variants: dict[str, dict[Path, Controls]] = field(default_factory=dict)
    """By type: the differing controls of its zones, by the entry that says so."""
    claimed: dict[str, dict[str, None]] = field(default_factory=dict)
    """By section: every name that is written, also those of entries with mistakes."""
    venue_sources: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """The sources that belong to no zone, with what each carries."""


def zone_types(model: models.Configuration, raw: Mapping[str, Any], site: Site, report: Report) -> None:
    """Note the controls of every type in ``site``."""
    written = raw.get("zone_types")
    site.claimed["zone_types"] = claimed(written, model.zone_types)
    for key, entry in model.zone_types.items():
        controls: dict[str, AnyControl | None] = {}
        for name in written[key]["controls"] if isinstance(written, dict) else ():
            control = entry.controls.get(name)
            path = ("zone_types", key, "controls", name)
            controls[name] = control if control and sound(control, path, report, site.venue_sources) else None
        site.types[key] = controls
        site.variants[key] = {}


def zones(model: models.Configuration, raw: Mapping[str, Any], site: Site, report: Report) -> dict[str, Any]:
    """The resolved zones, in venue order."""
    found: dict[str, Any] = {}
    stamped = stamp("zones", model.zones, report)
    site.claimed["zones"] = claimed(raw.get("zones"), stamped)
    if not site.claimed["zones"]:
        report.add(("zones",), "the venue has no zone", "write zones: with a name and a type for each")
    if len(stamped) > ZONES_MAX:
        report.add(("zones",), f"the venue has {len(stamped)} zones", f"keep it to {ZONES_MAX}")
    entry_controls: dict[str, Controls] = {}
    data_of: dict[int, dict[str, Any]] = {}
    for key, entry in model.zones.items():
        if entry.type not in site.types:
            if entry.type not in site.claimed["zone_types"]:
                report.dangling(("zones", key, "type"), "zone type", entry.type, site.types)
            continue
        entry_controls[key] = _zone_controls(key, entry, raw, site, report)
        if entry.step is not None and entry.repeat is None:
            report.add(("zones", key, "step"), "step stands for nothing without repeat", "add repeat: or leave it out")
    for zone, made in stamped.items():
        controls = entry_controls.get(str(made.path[1]))
        if controls is None:
            continue
        site.zone_types[zone], site.zone_controls[zone] = made.entry.type, controls
        # Zones of one entry share their controls' data: a venue of thousands stays small.
        if id(controls) not in data_of:
            data_of[id(controls)] = {name: resolved(name, c) for name, c in controls.items() if c is not None}
        found[zone] = {
            "type": made.entry.type,
            "name": made.name,
            "outline": made.shifted(made.entry.outline, made.entry.step),
            "controls": data_of[id(controls)],
        }
        if (idle := made.entry.idle or model.zone_types[made.entry.type].idle) is not None:
            found[zone]["idle"] = idle
    return found


def _zone_controls(key: str, entry: models.Zone, raw: Mapping[str, Any], site: Site, report: Report) -> Controls:
    """The controls of a zone's type, with what the zone says of its own."""
    base = site.types[entry.type]
    if not entry.controls:
        return base
    controls = dict(base)
    for name, members in entry.controls.items():
        path: Path = ("zones", key, "controls", name)
        if name not in base and "kind" in members:
            # A zone may have what no other zone of its type has: a screen, say.
            controls[name] = parse_control(members, path, report, site.venue_sources)
            continue
        if name not in base:
            report.dangling(path, f"control of {entry.type}", name, base)
            continue
        control = base[name]
        if control is None:
            continue
        if members.get("kind", control.kind) != control.kind:
            right = f"leave kind out, or give the zone another type: {name} is a {control.kind}"
            report.add((*path, "kind"), "a zone cannot change the kind of a control", right)
            continue
        written = raw["zone_types"][entry.type]["controls"][name]
        controls[name] = parse_control({**written, **members}, path, report, site.venue_sources)
    site.variants[entry.type][("zones", key)] = controls
    return controls


def partitions(model: models.Configuration, raw: Mapping[str, Any], site: Site, report: Report) -> dict[str, Any]:
    """The resolved partitions."""
    found: dict[str, Any] = {}
    stamped = stamp("partitions", model.partitions, report)
    if len(stamped) > PARTITIONS_MAX:
        report.add(("partitions",), f"the venue has {len(stamped)} partitions", f"keep it to {PARTITIONS_MAX}")
    for partition, made in stamped.items():
        entry = made.entry
        between = [made.fill(zone) for zone in entry.between]
        at = (*made.path, "between")
        if len(between) != 2 or between[0] == between[1]:
            report.add(at, "a partition stands between two different zones", "write it as [heron, plover]")
        for index, zone in enumerate(between):
            known_zone((*at, index), zone, site, report)
        found[partition] = {
            "name": made.name,
            "between": between,
            "line": made.shifted(entry.line, entry.step),
            "settle": entry.settle,
            "on_unknown": entry.on_unknown,
            "move_limit": entry.move_limit,
            "move_minutes": entry.move_minutes,
            "combine": entry.combine,
            **({"after": [made.fill(wall) for wall in entry.after]} if entry.after else {}),
        }
    return found


def controllers(model: models.Configuration, raw: Mapping[str, Any], site: Site, report: Report) -> dict[str, Any]:
    """The resolved controllers."""
    found: dict[str, Any] = {}
    stamped: dict[str, Stamp[models.Controller]] = stamp("controllers", model.controllers, report)
    site.claimed["controllers"] = claimed(raw.get("controllers"), stamped)
    for controller, made in stamped.items():
        entry = made.entry
        home = made.fill(entry.home)
        known_zone((*made.path, "home"), home, site, report)
        reach = None if entry.reach is None else [made.fill(zone) for zone in entry.reach]
        known_zones((*made.path, "reach"), reach or [], site, report)
        found[controller] = {
            "home": home,
            "name": made.name,
            "feedback": entry.feedback,
            "on_link": entry.on_link,
            "level_mode": entry.level_mode,
            "reach": reach,
            "hand_links_on_close": entry.hand_links_on_close,
            **({} if entry.panel == "seen" else {"panel": entry.panel}),
        }
    return found


def known_zone(path: Path, zone: str, site: Site, report: Report) -> bool:
    """Whether the zone exists; noted if not."""
    if zone not in site.claimed["zones"]:
        report.dangling(path, "zone", zone, site.claimed["zones"])
    return zone in site.zone_controls


def known_zones(path: Path, zones: list[str], site: Site, report: Report) -> None:
    """Note zones that do not exist, and zones that are listed twice."""
    for index, zone in enumerate(zones):
        known_zone((*path, index), zone, site, report)
    if twice := repeated(zones):
        report.add(path, f"{listing(twice)} is listed twice", "list each zone once")
