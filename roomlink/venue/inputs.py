"""What devices tell the venue: contacts and reports of walls, and the inputs of overrides."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from roomlink.venue import models
from roomlink.venue.controls import capitalised
from roomlink.venue.equipment import Contact, Contacts, Override
from roomlink.venue.findings import Path, Report
from roomlink.venue.references import values
from roomlink.venue.site import Site, known_zones
from roomlink.venue.stamp import Stamp, stamp
from roomlink.venue.wiring import Devices

Wall = Stamp[models.Partition]


def walls(
    model: models.Configuration, partitions: Mapping[str, dict[str, Any]], devices: Devices, report: Report
) -> dict[str, Any]:
    """The resolved partitions, with how each is sensed."""
    taken: dict[str, Path] = {}
    found = {}
    # What is wrong with names and repetitions was noted when the walls themselves were resolved.
    for name, made in stamp("partitions", model.partitions, Report(report.places)).items():
        sensed = _sensed(made, devices, report)
        found[name] = {**partitions[name], **sensed}
        for member, contact in (sensed["contacts"] or {}).items():
            _own((*made.path, "contacts", member, "point"), contact, taken, report)
        if "pass_door" in sensed:
            _own((*made.path, "pass_door", "point"), sensed["pass_door"], taken, report)
        if sensed["report"] is not None:
            _own((*made.path, "report", "point"), sensed["report"], taken, report)
    return found


def _own(path: Path, read: Mapping[str, Any], taken: dict[str, Path], report: Report) -> None:
    """Note a point that two contacts are read from: one wall would follow the other."""
    key = f"{read['device']} {read.get('point_name') or json.dumps(read['point'], sort_keys=True)}"
    if key in taken:
        text = f"a contact is read here already, at {report.places.of(taken[key])}"
        report.add(path, text, "give each contact a point of its own")
    taken.setdefault(key, path)


def _sensed(made: Wall, devices: Devices, report: Report) -> dict[str, Any]:
    entry, path = made.entry, made.path
    contacts: dict[str, Any] | None = None
    told: dict[str, Any] | None = None
    if isinstance(entry.contacts, Contacts):
        contacts = {}
        for member, contact in (("closed", entry.contacts.closed), ("stacked", entry.contacts.stacked)):
            if contact is not None:
                contacts[member] = _contact((*path, "contacts", member), made, contact, devices)
        if not contacts:
            report.add((*path, "contacts"), "no contact is given", "write closed:, stacked: or both")
    if entry.report is not None:
        if entry.contacts is not None:
            report.add((*path, "report"), "the wall has contacts as well", "write contacts: or report:", key=True)
        point = made.filled(entry.report.point)
        told = devices.read((*path, "report"), entry.report.device, point)
        told["values"] = _positions((*path, "report", "values"), entry.report.values.model_dump(), report)
    door = None if entry.pass_door is None else _contact((*path, "pass_door"), made, entry.pass_door, devices)
    return {
        "sensed": bool(contacts or told),
        "simulated": entry.contacts == "simulated",
        "contacts": contacts,
        "report": told,
        **({} if door is None else {"pass_door": door}),
    }


def _contact(path: Path, made: Wall, contact: Contact, devices: Devices) -> dict[str, Any]:
    return {**devices.read(path, contact.device, made.filled(contact.point)), "made": contact.made}


def _positions(path: Path, written: Mapping[str, Any], report: Report) -> dict[str, Any]:
    """What is reported by position; positions that the device does not tell are left out."""
    given = {position: value for position, value in written.items() if value is not None}
    for position, value in given.items():
        if isinstance(value, dict | list):
            report.add((*path, position), "a device reports plain values", "write a word, a number, true or false")
    seen: dict[str, str] = {}
    for position, value in given.items():
        first = seen.setdefault(repr(value), position)
        if first != position:
            report.add((*path, position), f"the same value means {first}", "write a value of its own")
    return given


def overrides(
    written: Mapping[str, Override], site: Site, devices: Devices, report: Report, *, mutes: Mapping[str, bool]
) -> dict[str, Any]:
    """The inputs that mask outputs. Life safety also has ``mutes``, those of the microphones, whatever is written."""
    found: dict[str, Any] = {}
    for key, entry in written.items():
        path: Path = ("overrides", key)
        if entry.input.active == "closed":
            text = "a broken wire would go unnoticed: an open circuit that means active fails safe"
            report.add(
                (*path, "input", "active"), text, "wire it so that it opens, and leave active out", severity="warning"
            )
        known_zones((*path, "zones"), entry.zones or [], site, report)
        found[key] = {
            "name": entry.name or capitalised(key),
            "kind": entry.kind,
            "input": {**_override_input((*path, "input"), entry, devices, report), "active": entry.input.active},
            "zones": entry.zones,
            "values": {
                **values((*path, "values"), entry.values, site, report),
                **(mutes if entry.kind == "life-safety" else {}),
            },
            "blend": entry.blend,
        }
        if not _masks(entry, site):
            text = "it masks no control: it only lets go of what is held and stops what moves"
            report.add(path, text, "write values: such as {mute: on}", key=True, severity="warning")
    return found


def _override_input(path: Path, entry: Override, devices: Devices, report: Report) -> dict[str, Any]:
    """Where an override is read. A device that is not there is a lost input, and so the override stands: no error."""
    device = entry.input.device
    if device in devices.named:
        return devices.read(path, device, entry.input.point)
    text = f"there is no device named {device!r}: the input counts as lost, and so the override as active"
    report.add((*path, "device"), text, f"add {device} to devices", severity="warning")
    return {"device": device, "point": dict(entry.input.point)}


def _masks(entry: Override, site: Site) -> bool:
    zones = site.zone_controls if entry.zones is None else entry.zones
    return any(control in site.zone_controls.get(zone, {}) for zone in zones for control in entry.values)
