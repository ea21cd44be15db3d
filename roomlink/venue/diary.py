"""The sections ``bookings``, ``routines`` and ``crews``, resolved and proved.

``crews`` are by name, with minutes of the day.
"""

from __future__ import annotations

from typing import Any

from roomlink.venue import models
from roomlink.venue.controls import capitalised
from roomlink.venue.diary_models import Crew
from roomlink.venue.findings import Path, Report
from roomlink.venue.site import Site, known_zones

Data = dict[str, Any]


def diary(model: models.Configuration, scenes: Data, site: Site, report: Report) -> Data:
    """The three sections; ``scenes`` are the resolved ones."""
    return {
        "bookings": model.bookings.model_dump(),
        "routines": {key: _routine(key, model, scenes, site, report) for key in model.routines},
        "crews": {key: _crew(key, crew) for key, crew in model.crews.items()},
    }


def _routine(key: str, model: models.Configuration, scenes: Data, site: Site, report: Report) -> Data:
    entry = model.routines[key]
    path: Path = ("routines", key)
    if entry.zones is not None:
        known_zones((*path, "zones"), entry.zones, site, report)
        if not entry.zones:
            report.add((*path, "zones"), "no zone is listed", "list zones, or leave it out for all that the scene has")
    if entry.scene not in model.scenes:
        report.dangling((*path, "scene"), "scene", entry.scene, model.scenes)
    elif entry.scene in scenes and entry.zones:
        held = _scope(scenes[entry.scene], site)
        if not any(zone in held for zone in entry.zones):
            text = f"{entry.scene} is for none of these zones"
            report.add((*path, "zones"), text, f"list zones such as {', '.join(sorted(held)[:3]) or 'the scene has'}")
    return {**entry.model_dump(), "name": entry.name or capitalised(key)}


def _scope(scene: Data, site: Site) -> set[str]:
    """The zones that a scene holds values for."""
    if scene.get("zones"):
        return set(scene["zones"])
    if scene.get("zone"):
        return {scene["zone"]}
    return {zone for zone, type_ in site.zone_types.items() if type_ == scene.get("type")}


def _crew(key: str, entry: Crew) -> Data:
    return {"name": entry.name or capitalised(key), "start": minutes(entry.start), "end": minutes(entry.end)}


def minutes(time: str) -> int:
    """Minutes since midnight, 0 to 1440, of a time of day."""
    hours, _, rest = time.partition(":")
    return int(hours) * 60 + int(rest)
