"""The section ``alarms``, resolved and proved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.core.alarm_kinds import KINDS, possible
from roomlink.venue.alarm_models import Alarms, AlarmTopic, Suppressed
from roomlink.venue.findings import Path, Report
from roomlink.venue.wiring import Devices

Data = dict[str, Any]


def alarms(model: Alarms, data: Mapping[str, Any], devices: Devices, report: Report) -> Data:
    """What ``data`` gets of it: nothing where nothing is written, so that a venue without it keeps its digest.

    ``data`` holds the other sections, resolved.
    """
    if model == Alarms():
        return {}
    known = possible(data)
    for alarm in model.priorities:
        _known(("alarms", "priorities", alarm), alarm, [*KINDS, *known], report)
    suppressed = [_suppressed(i, one, data, known, report) for i, one in enumerate(model.suppressed)]
    for index in _in_circles(model.suppressed):
        text = "these alarms suppress one another in a circle, so that nobody would be told"
        report.add(
            ("alarms", "suppressed", index, "while", "alarm"), text, "name what comes first, and leave that alone"
        )
    found = {"priorities": dict(model.priorities), "suppressed": suppressed}
    if model.mqtt is not None:
        found["mqtt"] = _topic(model.mqtt, devices, report)
    return {"alarms": found}


def _known(path: Path, alarm: str, known: list[str], report: Report) -> None:
    if alarm not in known:
        report.dangling(path, "alarm", alarm, known)


def _suppressed(index: int, one: Suppressed, data: Mapping[str, Any], known: list[str], report: Report) -> Data:
    path: Path = ("alarms", "suppressed", index)
    _known((*path, "alarm"), one.alarm, [*KINDS, *known], report)
    when = one.while_
    if when is not None:
        if (when.override is None) == (when.alarm is None):
            said = "both an override and an alarm" if when.alarm else "nothing"
            report.add((*path, "while"), f"while says {said}", "write override: or alarm:")
        if when.override is not None and when.override not in data["overrides"]:
            report.dangling((*path, "while", "override"), "override", when.override, data["overrides"])
        if when.alarm is not None:
            _known((*path, "while", "alarm"), when.alarm, known, report)
            if when.alarm == one.alarm:
                report.add((*path, "while", "alarm"), "an alarm cannot suppress itself", "name another alarm")
    return {
        "alarm": one.alarm,
        "why": one.why,
        "override": when.override if when else None,
        "other": when.alarm if when else None,
    }


def _in_circles(entries: list[Suppressed]) -> list[int]:
    """The entries by which an alarm would be suppressed, over others, because of itself."""

    def behind(alarm: str) -> set[str]:
        """The alarms for which this one gives way."""
        names = (alarm, alarm.partition("/")[0])
        others = {one.while_.alarm for one in entries if one.alarm in names and one.while_ and one.while_.alarm}
        return others - {alarm}

    found = []
    for index, one in enumerate(entries):
        look = [one.while_.alarm] if one.while_ and one.while_.alarm else []
        seen: set[str] = set()
        while look:
            alarm = look.pop()
            if alarm not in seen:
                seen.add(alarm)
                look += behind(alarm)
        # What a kind gives way for may be of that kind itself: that one is left alone.
        further = seen - {one.while_.alarm if one.while_ else None}
        if any(one.alarm in (alarm, alarm.partition("/")[0]) for alarm in further):
            found.append(index)
    return found


def _topic(topic: AlarmTopic, devices: Devices, report: Report) -> Data:
    path: Path = ("alarms", "mqtt")
    point = {"topic": topic.topic}
    devices.exists((*path, "device"), topic.device)
    driver = devices.config.get(topic.device, {}).get("driver")
    if driver not in (None, "mqtt"):
        report.add((*path, "device"), f"{topic.device} is no broker", "name a device with driver: mqtt")
    elif topic.device in devices.config:
        devices.drive((*path, "topic"), topic.device, point)
    return {"device": topic.device, "point": point}
