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
from roomlink.venue import references, site
from roomlink.venue.controls import capitalised
from roomlink.venue.findings import Finding, Path, Place
from roomlink.venue.parse import STAND_IN, parse
from roomlink.venue.read import Reading, read_folder


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


def load(folder: FilePath) -> Loaded:
    """Load the venue in ``folder``; every ``*.yaml`` there is read as one.

    Raises ``VenueFault`` with all findings, by place; the caller shows them and keeps what it had before.
    """
    reading = read_folder(folder)
    data = _resolve(reading) if reading.tree or not reading.report.findings else {}
    report = reading.report
    if errors := report.sorted("error"):
        raise VenueFault(errors)
    places = {**report.places.values, **report.places.keys}
    return Loaded(data, digest(data), from_data(data), report.sorted("warning"), places)


def digest(data: Mapping[str, Any]) -> str:
    """SHA-256, in hexadecimal, of resolved data. The order of its members counts: venue order has a meaning."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _resolve(reading: Reading) -> dict[str, Any]:
    """The resolved data; what stands against it is noted in the report."""
    raw, report = reading.tree, reading.report
    if reading.unread:
        # Names may be in the file that could not be read: only what is written elsewhere is looked at.
        parse({"venue": STAND_IN, **raw}, report)
        return {}
    parsed = parse(raw, report)
    model = parsed.model
    here = site.Site()
    site.zone_types(model, raw, here, report)
    zones = site.zones(model, raw, here, report)
    return {
        "venue": {
            "id": model.venue.id,
            "name": model.venue.name or capitalised(model.venue.id),
            "timezone": model.venue.timezone,
        },
        "zones": zones,
        "partitions": site.partitions(model, raw, here, report),
        "controllers": site.controllers(model, raw, here, report),
        "combining": references.combining(model.combining, here, report),
        "scenes": references.scenes(model.scenes, here, report),
        "occupancy": references.occupancy(parsed, here, report),
        "devices": {device: raw["devices"][device] for device in model.devices},
        "bindings": references.bindings(parsed, raw, here, report),
        "overrides": references.overrides(model, raw, here, report),
    }
