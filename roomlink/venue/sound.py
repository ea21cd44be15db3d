"""The section ``sound``, and where microphones and loudspeakers stand; resolved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.venue import models
from roomlink.venue.controls import capitalised
from roomlink.venue.equipment import Loudspeaker, Microphone
from roomlink.venue.fields import plain
from roomlink.venue.findings import Path, Report
from roomlink.venue.parse import Parsed
from roomlink.venue.site import Site, known_zone
from roomlink.venue.wiring import Devices

TEMPERATURE_MIN, TEMPERATURE_MAX = -20.0, 50.0
OWN_ZONE_REDUCTION_MAX = 60.0


def sound(
    model: models.Configuration, more: Mapping[str, Mapping[str, Any]], site: Site, report: Report
) -> dict[str, Any]:
    """The sections ``sound``, ``microphones`` and ``loudspeakers``; ``more`` is what microphones have besides."""
    microphones = _placed("microphones", model.microphones, site, report)
    entry = model.sound
    if not TEMPERATURE_MIN <= entry.temperature <= TEMPERATURE_MAX:
        right = f"write {plain(TEMPERATURE_MIN)} to {plain(TEMPERATURE_MAX)}"
        report.add(("sound", "temperature"), f"{plain(entry.temperature)} °C is no air to talk in", right)
    if entry.own_zone_reduction > OWN_ZONE_REDUCTION_MAX:
        right = f"write 0 to {plain(OWN_ZONE_REDUCTION_MAX)} (dB)"
        report.add(("sound", "own_zone_reduction"), f"{plain(entry.own_zone_reduction)} dB is silence", right)
    if entry.reference is not None and entry.reference not in model.microphones:
        report.dangling(("sound", "reference"), "microphone", entry.reference, model.microphones)
    return {
        "sound": entry.model_dump(),
        "microphones": {key: {**place, **more[key]} for key, place in microphones.items()},
        "loudspeakers": _placed("loudspeakers", model.loudspeakers, site, report),
    }


def outputs(parsed: Parsed, devices: Devices, report: Report) -> list[dict[str, Any]]:
    """Where the sound plan is sent: each gain and delay to one point of a device."""
    model = parsed.model
    found = []
    for index, entry in zip(parsed.origin.get("sound_outputs", ()), model.sound_outputs, strict=True):
        path: Path = ("sound_outputs", index)
        if entry.microphone is not None and entry.microphone not in model.microphones:
            report.dangling((*path, "microphone"), "microphone", entry.microphone, model.microphones)
        if entry.loudspeakers not in model.loudspeakers:
            report.dangling((*path, "loudspeakers"), "loudspeakers", entry.loudspeakers, model.loudspeakers)
        devices.exists((*path, "device"), entry.device)
        devices.drive((*path, "point"), entry.device, entry.point)
        found.append(entry.model_dump())
    return found


def _placed(
    section: str, entries: Mapping[str, Microphone | Loudspeaker], site: Site, report: Report
) -> dict[str, Any]:
    for key, entry in entries.items():
        known_zone((section, key, "zone"), entry.zone, site, report)
    return {
        key: {
            "name": entry.name or capitalised(key),
            "zone": entry.zone,
            "at": None if entry.at is None else list(entry.at),
        }
        for key, entry in entries.items()
    }
