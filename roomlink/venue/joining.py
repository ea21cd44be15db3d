"""Named arrangements of walls and idle scenes: resolved, and proved against what they name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.venue import models
from roomlink.venue.controls import capitalised
from roomlink.venue.findings import Path, Report


def arrangements(
    model: Mapping[str, models.Arrangement], partitions: Mapping[str, Any], report: Report
) -> dict[str, Any]:
    """The resolved arrangements."""
    found: dict[str, Any] = {}
    for key, entry in model.items():
        path: Path = ("arrangements", key, "walls")
        if not entry.walls:
            report.add(path, "no wall is stated", "write the walls, each with open or closed")
        for wall in entry.walls:
            if wall not in partitions:
                report.dangling((*path, wall), "partition", wall, partitions)
        found[key] = {"name": entry.name or capitalised(key), "walls": dict(entry.walls), "pin": entry.pin}
    return found


def idle(model: models.Configuration, zones: Mapping[str, Any], scenes: Mapping[str, Any], report: Report) -> None:
    """Note idle scenes that do not exist, or hold nothing for a zone that is to have them."""
    for section, entries in (("zone_types", model.zone_types), ("zones", model.zones)):
        for key, entry in entries.items():
            if entry.idle is not None and entry.idle not in model.scenes:
                report.dangling((section, key, "idle"), "scene", entry.idle, model.scenes)
    for zone, content in zones.items():
        scene = scenes.get(content.get("idle") or "")
        if scene is None or zone in scene["zones"] or scene["zone"] == zone or scene["type"] == content["type"]:
            continue
        own = zone in model.zones and model.zones[zone].idle is not None
        at: Path = ("zones", zone, "idle") if own else ("zone_types", content["type"], "idle")
        report.add(at, f"scene {content['idle']} holds nothing for {zone}", "name a scene for it, or leave idle out")
