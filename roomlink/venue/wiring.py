"""The devices of a venue, and which of their points are used: each is driven once, and read as what it is."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from roomlink.venue import models
from roomlink.venue.findings import Path, Report
from roomlink.venue.rules import Complaint, DeviceRules, KnownDevice, Point


@dataclass
class Devices:
    """What bindings and inputs refer to. Without ``rules`` points are compared as they are written."""

    report: Report
    named: list[str] = field(default_factory=list)
    """Every name that is written, also those of devices with mistakes."""
    config: dict[str, Any] = field(default_factory=dict)
    known: dict[str, KnownDevice] = field(default_factory=dict)
    checked: bool = False
    """Whether rules were given: then names of points are in the data."""
    _driven: dict[str, dict[str, tuple[Path, Point]]] = field(default_factory=dict)
    _read: dict[str, dict[str, Point]] = field(default_factory=dict)

    def point(self, path: Path, device: str, raw: Mapping[str, Any]) -> Point | None:
        """The point that is written at ``path``; None, noted, where there is none such."""
        if not self.checked:
            return Point(json.dumps(raw, sort_keys=True))
        if device not in self.known:
            return None
        found = self.known[device].point(raw)
        if isinstance(found, Point):
            return found
        self._note(path, found)
        return None

    def exists(self, path: Path, device: str) -> None:
        """Note a device that is not there."""
        if device not in self.named:
            self.report.dangling(path, "device", device, self.named)

    def read(self, path: Path, device: str, raw: Mapping[str, Any]) -> dict[str, Any]:
        """The resolved members of an input: its device, its point, and the point's name where that is known."""
        self.exists((*path, "device"), device)
        point = self.point((*path, "point"), device, raw)
        if point is not None:
            self._read.setdefault(device, {})[point.name] = point
        return {"device": device, "point": dict(raw), **self.naming("point_name", point)}

    def drive(self, path: Path, device: str, raw: Mapping[str, Any]) -> Point | None:
        """Take the point that is written at ``path`` for one binding."""
        point = self.point(path, device, raw)
        if point is None:
            return None
        driven = self._driven.setdefault(device, {})
        overlaps = self.known[device].overlaps if self.checked else None
        if point.name in driven:
            other = self.report.places.of(driven[point.name][0])
            self.report.add(path, f"this point of {device} is driven already, at {other}", "drive each point once")
        elif overlaps is not None:
            for at, taken in driven.values():
                if overlaps(taken.parsed, point.parsed):
                    text = f"this point of {device} overlaps the one at {self.report.places.of(at)}"
                    self.report.add(path, text, "leave each point a place of its own")
                    break
        driven.setdefault(point.name, (path, point))
        return point

    def naming(self, member: str, point: Point | None) -> dict[str, Any]:
        return {member: point.name} if self.checked and point is not None else {}

    def together(self) -> None:
        """Note what keeps a device from having all its points; called once all are known."""
        for device, known in self.known.items():
            points = {name: point for name, (_, point) in self._driven.get(device, {}).items()}
            points |= self._read.get(device, {})
            self._note(("devices", device), known.together([point.parsed for point in points.values()]))

    def _note(self, path: Path, complaints: list[Complaint]) -> None:
        for complaint in complaints:
            self.report.add((*path, *complaint.path), complaint.text, complaint.right, key=complaint.on_key)


def devices(model: models.Configuration, raw: Mapping[str, Any], rules: DeviceRules | None, report: Report) -> Devices:
    """The devices, each looked at by its driver where ``rules`` are given."""
    written = raw.get("devices")
    written = written if isinstance(written, dict) else {}
    made = Devices(report, list(written), {name: written[name] for name in model.devices}, checked=rules is not None)
    addresses: dict[tuple[str, str], str] = {}
    if rules is None:
        return made
    for name, config in made.config.items():
        known = rules.device(name, config)
        if isinstance(known, list):
            made._note(("devices", name), known)
            continue
        made.known[name] = known
        if known.address is not None:
            first = addresses.setdefault((config["driver"], known.address), name)
            if first != name:
                text = f"{first} is at the same address already: {known.address}"
                report.add(("devices", name), text, "write one device, with all its points", key=True)
    return made
