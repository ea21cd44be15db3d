"""Load a venue: read its folder, prove it sound, resolve it to the plain data that the core is told."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from roomlink.core.spec import Spec, from_data
from roomlink.errors import VenueFault
from roomlink.venue import (
    alarms,
    bindings,
    calendar,
    diary,
    evening,
    inputs,
    joining,
    references,
    site,
    sound,
    stations,
    travel,
    wiring,
)
from roomlink.venue.controls import capitalised
from roomlink.venue.findings import Finding, Path, Place
from roomlink.venue.parse import STAND_IN, parse
from roomlink.venue.read import Reading, read_folder
from roomlink.venue.rules import DeviceRules


@dataclass(frozen=True)
class Loaded:
    """A venue that was proved sound.

    ``data`` is plain JSON data in venue order, ``digest`` the SHA-256 of it in hexadecimal, ``spec`` what the core
    makes of it. ``warnings`` do not stand in the way of running it. ``places`` says where each part was written.
    """

    data: Mapping[str, Any]
    digest: str
    spec: Spec
    warnings: list[Finding]
    places: Mapping[Path, Place] = field(repr=False)

    def place(self, path: Path) -> Place:
        """Where ``path`` was written, or else the nearest thing around it."""
        for length in range(len(path), 0, -1):
            if found := self.places.get(path[:length]):
                return found
        return next(iter(self.places.values()))


def load(folder: FilePath, drivers: DeviceRules | None = None) -> Loaded:
    """Load the venue in ``folder``; every ``*.yaml`` there is read as one.

    With ``drivers`` (``runtime.device_rules.DriverRules``) devices and points are proved too, and named in the data;
    without, only their structure is. Raises ``VenueFault`` with all findings, by place; the caller shows them and
    keeps what it had before.
    """
    reading = read_folder(folder)
    data = _resolve(reading, drivers) if reading.tree or not reading.report.findings else {}
    report = reading.report
    if errors := report.sorted("error"):
        raise VenueFault(errors)
    places = {**report.places.values, **report.places.keys}
    return Loaded(data, digest(data), from_data(data), report.sorted("warning"), places)


def digest(data: Mapping[str, Any]) -> str:
    """SHA-256, in hexadecimal, of resolved data. The order of its members counts: venue order has a meaning."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _resolve(reading: Reading, drivers: DeviceRules | None) -> dict[str, Any]:
    """The resolved data; what stands against it is noted in the report."""
    raw, report = reading.tree, reading.report
    if reading.unread:
        # Names may be in the file that could not be read: only what is written elsewhere is looked at.
        parse({"venue": STAND_IN, **raw}, report)
        return {}
    parsed = parse(raw, report)
    model = parsed.model
    here = site.Site()
    travel.note_sources(model, here)
    site.zone_types(model, raw, here, report)
    zones = site.zones(model, raw, here, report)
    microphones = travel.microphones(model, zones, here, report)
    partitions = site.partitions(model, raw, here, report)
    supplies = {key: {"name": s.name or capitalised(key), "stagger": s.stagger} for key, s in model.supplies.items()}
    data = {
        "venue": {
            "id": model.venue.id,
            "name": model.venue.name or capitalised(model.venue.id),
            "timezone": model.venue.timezone,
            **({} if model.venue.idle_after is None else {"idle_after": model.venue.idle_after}),
        },
        "zones": zones,
        "partitions": partitions,
        "controllers": site.controllers(model, raw, here, report),
        "combining": references.combining(model.combining, here, report),
        "scenes": references.scenes(model.scenes, here, report),
        "occupancy": references.occupancy(parsed, here, report),
        **sound.sound(model, microphones, here, report),
    }
    data |= travel.travel(model, here, report)
    joining.idle(model, zones, data["scenes"], report)
    if model.arrangements:
        data["arrangements"] = joining.arrangements(model.arrangements, partitions, report)
    data |= diary.diary(model, data["scenes"], here, report)
    data["calendar"] = calendar.calendar(model.calendar, here, report)
    data["webhooks"] = calendar.webhooks(model.webhooks, parsed.origin.get("webhooks", ()), report)
    if model.journal.keep_days is not None:  # a venue that says nothing of it keeps its digest
        data["journal"] = {"keep_s": model.journal.keep_days * 86400.0}
    devices = wiring.devices(model, raw, drivers, report)
    data["partitions"] = inputs.walls(model, partitions, devices, report)
    data["overrides"] = inputs.overrides(model.overrides, here, devices, report, mutes=travel.mutes(microphones))
    data["devices"], data["supplies"] = devices.config, supplies
    data |= stations.stations(model, data["controllers"], here, devices, report)
    data |= stations.locks(model.locks, here, data["controllers"], report)
    data["bindings"] = bindings.bindings(parsed, raw, data, here, devices, report)
    data["sound_outputs"] = sound.outputs(parsed, devices, report)
    data |= evening.evening(model, data, here, devices, report)
    data |= alarms.alarms(model.alarms, data, devices, report)
    devices.together()
    return data
