"""What refers to controls: rules of combining, scenes, occupancy, devices, bindings, overrides; resolved and proved."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from roomlink.core.spec import Value
from roomlink.venue import models
from roomlink.venue.base import LEVEL_RULES, NONE, Fault
from roomlink.venue.controls import AnyControl, capitalised, repeated
from roomlink.venue.fields import shown
from roomlink.venue.findings import Path, Report, Severity, dotted, listing
from roomlink.venue.parse import Parsed
from roomlink.venue.site import Controls, Site, known_zone, known_zones

Take = Callable[[AnyControl, object], Value | Fault]

_COMBINE_WORDS = ("lead", "keep")
_SEPARATE_WORDS = ("restore", "keep")


def combining(model: models.Combining | None, site: Site, report: Report) -> dict[str, Any] | None:
    """The resolved section, or None where groups touch no links."""
    if model is None:
        return None
    at: Path = ("combining", "lead_order")
    for index, controller in enumerate(model.lead_order):
        if controller not in site.claimed["controllers"]:
            report.dangling((*at, index), "controller", controller, site.claimed["controllers"])
    if twice := repeated(model.lead_order):
        report.add(at, f"{listing(twice)} is listed twice", "list each controller once")
    return {
        "lead_order": list(model.lead_order),
        "others": model.others,
        "blend": model.blend,
        "restore_for": model.restore_for,
        "on_combine": _rules("on_combine", model.on_combine, site, report),
        "on_separate": _rules("on_separate", model.on_separate, site, report),
    }


def _rules(member: str, rules: Mapping[str, object], site: Site, report: Report) -> dict[str, Value]:
    def take(control: AnyControl, raw: object) -> Value | Fault:
        return _rule(member, control, raw)

    found = _everywhere(("combining", member), rules, site, report, take)
    for name in rules:
        local = [t for t, controls in site.types.items() if (c := controls.get(name)) and c.scope == "local"]
        if local:
            text = f"{name} is local in {listing(local)}: it stays as it is there"
            report.add(("combining", member, name), text, "leave the rule out", severity="warning")
    return found


def _rule(member: str, control: AnyControl, raw: object) -> Value | Fault:
    """A rule's word or a value, for one control."""
    combine = member == "on_combine"
    own, other = (_COMBINE_WORDS, _SEPARATE_WORDS) if combine else (_SEPARATE_WORDS, _COMBINE_WORDS)
    if control.kind in ("momentary", "motion"):
        return Fault(f"a {control.kind} control is held or let go, and follows no rule", "leave it out")
    words = [*own, *LEVEL_RULES] if combine and control.kind == "level" else list(own)
    if isinstance(raw, str) and raw in (*own, *other, *LEVEL_RULES):
        if raw in words:
            return raw
        why = "is for levels only" if combine and raw in LEVEL_RULES else f"is no rule of {member}"
        return Fault(f"{raw!r} {why}; this is a {control.kind}", f"write {listing(words)} or a value")
    value = control.take(raw)
    if isinstance(value, Fault):
        return Fault(value.text, f"{value.right}, or {listing(words)}", above_ceiling=value.above_ceiling)
    # In a rule the word stays, to be told from a rule that is not there.
    return NONE if value is None else value


def _everywhere(path: Path, written: Mapping[str, object], site: Site, report: Report, take: Take) -> dict[str, Value]:
    """Values by control that hold for every type that has the control, or has a zone that does."""
    found: dict[str, Value] = {}
    names = {t: {name for _, controls in _variants(site, t) for name in controls} for t in site.types}
    every = sorted(set().union(*names.values()))
    for name, raw in written.items():
        at = (*path, name)
        holders = [t for t in site.types if name in names[t]]
        # A type with mistakes may have it.
        if not holders and site.claimed["zone_types"].keys() <= site.types.keys():
            report.dangling(at, "control", name, every)
        meant: dict[str, Value] = {}
        for zone_type in holders:
            value = _fits(at, name, raw, site, report, take, zone_type)
            if not isinstance(value, Fault):
                meant[repr(value)] = value
        if len(meant) > 1:
            text = f"{shown(raw)} means different things in {listing(holders)}"
            report.add(at, text, "name the control differently in one of the types")
        found.update((name, value) for value in meant.values())
    return found


def _fits(path: Path, name: str, raw: object, site: Site, report: Report, take: Take, zone_type: str) -> Value | Fault:
    """A value for the control of a type and of all its zones; what does not fit is noted."""
    first: Value | Fault = Fault("")
    for variant, controls in _variants(site, zone_type):
        control = controls.get(name)
        if control is None:
            continue
        value = take(control, raw)
        if variant and isinstance(value, Fault):
            # A lower ceiling in one zone limits that zone, and is no mistake in what is meant for all.
            severity: Severity = "warning" if value.above_ceiling else "error"
            report.add(path, f"{value.text} in {dotted(variant)}", value.right, severity=severity)
        elif isinstance(value, Fault):
            report.add(path, value.text, value.right)
            return value
        elif isinstance(first, Fault):
            first = value
    return first


def _variants(site: Site, zone_type: str) -> Iterator[tuple[Path, Controls]]:
    yield (), site.types[zone_type]
    yield from site.variants[zone_type].items()


def values(path: Path, written: Mapping[str, object], site: Site, report: Report) -> dict[str, Value]:
    """Plain values by control, such as an override's, that hold for every zone with the control."""
    return _everywhere(path, written, site, report, _plain)


def _plain(control: AnyControl, raw: object) -> Value | Fault:
    return control.take(raw)


def scenes(model: Mapping[str, models.Scene], site: Site, report: Report) -> dict[str, Any]:
    """The resolved scenes."""
    found: dict[str, Any] = {}
    for key, scene in model.items():
        path: Path = ("scenes", key)
        scopes = [s for s in ("type", "zone", "zones") if getattr(scene, s) is not None]
        values: dict[str, Value] = {}
        zones: dict[str, dict[str, Value]] = {}
        if len(scopes) != 1:
            said = f"the scene gives {listing(scopes)}" if scopes else "the scene does not say what it is for"
            report.add(path, said, "write one of type:, zone: or zones:", key=True)
        elif (scene.values is None) != (scopes == ["zones"]):
            right = "write values: beside type: or zone:, and values within zones: for each zone"
            report.add(path, "the values are not where they belong", right, key=True)
        elif not (scene.values or any((scene.zones or {}).values())):
            report.add(path, "the scene holds no values", "write a value for at least one control", key=True)
        elif scene.type is not None:
            values = _type_values(path, scene.type, scene.values or {}, site, report)
        elif scene.zone is not None and known_zone((*path, "zone"), scene.zone, site, report):
            values = _zone_values((*path, "values"), scene.zone, scene.values or {}, site, report)
        for zone, members in (scene.zones or {}).items() if len(scopes) == 1 else ():
            if known_zone((*path, "zones", zone), zone, site, report):
                zones[zone] = _zone_values((*path, "zones", zone), zone, members, site, report)
        found[key] = {
            "name": scene.name or capitalised(key),
            "type": scene.type,
            "zone": scene.zone,
            "values": values,
            "zones": zones,
        }
    return found


def _type_values(
    path: Path, zone_type: str, written: Mapping[str, object], site: Site, report: Report
) -> dict[str, Value]:
    found: dict[str, Value] = {}
    if zone_type not in site.types:
        if zone_type not in site.claimed["zone_types"]:
            report.dangling((*path, "type"), "zone type", zone_type, site.types)
        return found
    for name, raw in written.items():
        at = (*path, "values", name)
        if name not in site.types[zone_type]:
            report.dangling(at, f"control of {zone_type}", name, site.types[zone_type])
            continue
        value = _fits(at, name, raw, site, report, _plain, zone_type)
        if not isinstance(value, Fault):
            found[name] = value
    return found


def _zone_values(path: Path, zone: str, written: Mapping[str, object], site: Site, report: Report) -> dict[str, Value]:
    found: dict[str, Value] = {}
    controls = site.zone_controls[zone]
    for name, raw in written.items():
        if name not in controls:
            report.dangling((*path, name), f"control of {zone}", name, controls)
        elif control := controls[name]:
            value = control.take(raw)
            if isinstance(value, Fault):
                report.add((*path, name), value.text, value.right)
            else:
                found[name] = value
    return found


def occupancy(parsed: Parsed, site: Site, report: Report) -> list[dict[str, Any]]:
    """The posted numbers of people."""
    seen: dict[frozenset[str], Path] = {}
    for index, entry in zip(parsed.origin.get("occupancy", ()), parsed.model.occupancy, strict=True):
        path: Path = ("occupancy", index)
        known_zones((*path, "zones"), entry.zones, site, report)
        if not entry.zones:
            report.add((*path, "zones"), "no zone is listed", "list the zones that are one room")
        first = seen.setdefault(frozenset(entry.zones), path)
        if first != path:
            other = report.places.of((*first, "zones"))
            report.add((*path, "zones"), f"these zones have a posted number already, at {other}", "keep one of the two")
    return [{"zones": list(entry.zones), "posted": entry.posted} for entry in parsed.model.occupancy]
