"""Paging, presence, walls that share a track, and mutes that a raised level lets go: resolved and proved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.limits import PAGING_S_MAX
from roomlink.venue import models
from roomlink.venue.controls import capitalised
from roomlink.venue.equipment import Contact
from roomlink.venue.evening_models import Paging, Presence
from roomlink.venue.findings import Path, Report, listing
from roomlink.venue.site import Site, known_zone, known_zones
from roomlink.venue.stamp import stamp
from roomlink.venue.wiring import Devices

Data = dict[str, Any]


def evening(model: models.Configuration, data: Data, site: Site, devices: Devices, report: Report) -> Data:
    """The sections ``paging`` and ``presence``, if they say anything; ``data`` holds zones and partitions."""
    unmuting(data["zones"], model, report)
    order(model, data["partitions"], report)
    sections = {
        "paging": {name: _paging(name, entry, site, devices, report) for name, entry in model.paging.items()},
        "presence": {zone: _presence(zone, entry, site, devices, report) for zone, entry in model.presence.items()},
    }
    return {name: content for name, content in sections.items() if content}


def read(path: Path, contact: Contact, devices: Devices) -> Data:
    """Where a contact is read, and which value means that it is made."""
    return {**devices.read(path, contact.device, contact.point), "made": contact.made}


def _presence(zone: str, entry: Presence, site: Site, devices: Devices, report: Report) -> Data:
    path: Path = ("presence", zone)
    known_zone(path, zone, site, report)
    return read(path, entry, devices)


def _paging(name: str, entry: Paging, site: Site, devices: Devices, report: Report) -> Data:
    path: Path = ("paging", name)
    if (entry.input is None) == (entry.control is None):
        report.add(path, "it has to be told by one thing when somebody pages", "write input: or control:", key=True)
    known_zones((*path, "zones"), entry.zones or [], site, report)
    if entry.control is not None:
        zone, _, control = entry.control.partition(".")
        if known_zone((*path, "control"), zone, site, report):
            _is((*path, "control"), control, site.zone_controls[zone], "momentary", zone, report)
    zones = [z for z in (site.zone_controls if entry.zones is None else entry.zones) if z in site.zone_controls]
    for index, control in enumerate(entry.ducks):
        there = [site.zone_controls[z][control] for z in zones if control in site.zone_controls[z]]
        if not there and zones:
            report.dangling((*path, "ducks", index), "level", control, _names(zones, site))
        elif any(one is not None and one.kind != "level" for one in there):
            report.add((*path, "ducks", index), f"{control} is no level", "list levels, such as the programme's")
    if not entry.ducks:
        report.add((*path, "ducks"), "nothing is lower meanwhile", "list the levels of the programme")
    if entry.by <= 0.0:
        report.add((*path, "by"), "it makes nothing lower", "write how much lower, such as 12")
    if entry.most > PAGING_S_MAX:
        text = f"a key that sticks would keep the programme down for {entry.most / 60.0:g} minutes"
        report.add((*path, "most"), text, f"write {PAGING_S_MAX / 60.0:g}min at most")
    return {
        "name": entry.name or capitalised(name),
        "input": None if entry.input is None else read((*path, "input"), entry.input, devices),
        "control": entry.control,
        "zones": entry.zones,
        "ducks": list(entry.ducks),
        "by": entry.by,
        "most": entry.most,
    }


def _names(zones: list[str], site: Site) -> dict[str, None]:
    return {name: None for zone in zones for name in site.zone_controls[zone]}


def _is(path: Path, name: str, controls: Mapping[str, Any], kind: str, zone: str, report: Report) -> None:
    if name not in controls:
        report.dangling(path, f"control of {zone}", name, controls)
    elif controls[name] is not None and controls[name].kind != kind:
        report.add(path, f"{name} is a {controls[name].kind}", f"name a {kind}")


def unmuting(zones: Mapping[str, Data], model: models.Configuration, report: Report) -> None:
    """A level that lets a mute go when it is raised names a switch beside it."""
    seen: set[tuple[str, str]] = set()
    for zone, content in zones.items():
        for name, control in content["controls"].items():
            mute = control.get("unmute_on_raise")
            beside = content["controls"].get(mute)
            if mute is None or (beside is not None and beside["kind"] == "switch"):
                continue
            of_type = zone not in model.zones or name not in model.zones[zone].controls
            path: Path = ("zone_types", content["type"], "controls", name, "unmute_on_raise")
            if not of_type:
                path = ("zones", zone, "controls", name, "unmute_on_raise")
            if (str(path), mute) not in seen:
                seen.add((str(path), mute))
                text = f"{zone} has no switch {mute!r}" if beside is None else f"{mute} is a {beside['kind']}"
                report.add(path, text, "name the switch that mutes it")


def order(model: models.Configuration, partitions: Mapping[str, Data], report: Report) -> None:
    """Walls that are moved after others: these exist, and none waits for itself."""
    paths = {name: made.path for name, made in stamp("partitions", model.partitions, Report(report.places)).items()}
    for name, wall in partitions.items():
        for other in wall.get("after", ()):
            if other not in partitions:
                report.dangling((*paths[name], "after"), "partition", other, partitions)
    for name in partitions:
        if name in _before(name, partitions):
            round_about = [other for other in _before(name, partitions) if name in _before(other, partitions)]
            text = f"{listing(round_about)} would each wait for the other: nobody could begin"
            report.add((*paths[name], "after"), text, "leave out one of them")
            return


def _before(name: str, partitions: Mapping[str, Data]) -> dict[str, None]:
    """All walls that are moved before one, near and far."""
    found: dict[str, None] = {}
    left = [name]
    while left:
        for other in partitions.get(left.pop(), {}).get("after", ()):
            if other not in found:
                found[other] = None
                left.append(other)
    return found
