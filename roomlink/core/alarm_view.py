"""What people and programs see of alarms, and which places and panels an alarm concerns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink import limits
from roomlink.core import links
from roomlink.core.alarm_kinds import NORMAL, PRIORITIES, SPEAKING, STATES, about
from roomlink.core.instants import rfc3339
from roomlink.core.records import Alarm
from roomlink.core.spec import Spec
from roomlink.core.state import State

Data = dict[str, Any]


def zones_of(spec: Spec, alarm: str) -> tuple[str, ...]:
    """The zones that an alarm concerns, in venue order; none for what is about the service as a whole."""
    section, name = about(alarm)
    found: set[str] = set()
    if section == "partitions" and name in spec.partitions:
        found.update(spec.partitions[name].between)
    elif section == "overrides" and name in spec.overrides:
        found.update(spec.overrides[name].zones or spec.zones)
    elif section == "controllers" and name in spec.controllers:
        found.add(spec.controllers[name].home)
    elif section == "devices":
        found.update(binding.zone for binding in spec.bindings if binding.device == name)
        for wall in spec.data.get("partitions", {}).values():
            contacts = wall.get("contacts")
            ends = contacts.values() if isinstance(contacts, dict) else ()
            if any(at and at["device"] == name for at in (*ends, wall.get("report"))):
                found.update(wall["between"])
    return tuple(zone for zone in spec.zones if zone in found)


def controllers_of(state: State, zones: Iterable[str]) -> tuple[str, ...]:
    """The controllers at home in these zones or linked to one, in venue order."""
    found = {c for z in zones for c in (*state.linked_by.get(z, ()), *state.spec.homed_at.get(z, ()))}
    return tuple(controller for controller in state.spec.controllers if controller in found)


def rank(record: Alarm) -> tuple[Any, ...]:
    """To sort by: what stands and speaks first, the most urgent of it first, then the oldest."""
    urgency = PRIORITIES.index(record.priority) if record.priority in PRIORITIES else len(PRIORITIES)
    return record.state not in SPEAKING, urgency, record.since


def _live(state: State) -> list[tuple[str, Alarm]]:
    """All alarms that are not normal, by rank."""
    found = [(name, state.alarms[name]) for name in state.alarms.live()]
    return sorted([one for one in found if one[1].state != NORMAL], key=lambda one: (*rank(one[1]), one[0]))


def _shown(state: State, name: str, record: Alarm) -> Data:
    section, of = about(name)
    members = {"devices": "device", "partitions": "partition", "overrides": "override", "controllers": "controller"}
    member = members.get(section)
    return {
        "kind": name.partition("/")[0],
        "state": record.state,
        "stands": record.stands,
        "priority": record.priority,
        "text": record.text,
        "since": rfc3339(record.since),
        "count": record.count,
        "chattering": record.quiet is not None,
        "by": record.by,
        "why": record.why,
        "until": None if record.until is None else rfc3339(record.until),
        "zones": list(zones_of(state.spec, name)),
        **({} if member is None else {member: of}),
    }


def alarms(state: State) -> Data:
    """All alarms that are not normal, by name."""
    return {name: _shown(state, name, record) for name, record in _live(state)}


def listed(state: State, now: float) -> Data:
    """The list for ``GET /alarms``, and whether it is more than people can follow."""
    shown = alarms(state)
    found = [
        {"alarm": name, **one, "controllers": list(controllers_of(state, one["zones"]))} for name, one in shown.items()
    ]
    return {"at": rfc3339(now), "alarms": found, "raised": raised(state, now)}


def raised(state: State, now: float) -> Data:
    """How often people were told of an alarm in the last minutes."""
    since = now - limits.ALARM_FLOOD_S
    times = sum(at > since for name in state.alarms.live() for at in state.alarms[name].raises)
    return {"seconds": limits.ALARM_FLOOD_S, "times": times, "flood": times > limits.ALARM_FLOOD}


def on_panel(state: State, controller: str) -> list[Data]:
    """What the panel of a controller tells guests: what kind of thing is not as it should be, without names.

    Of what is of low priority not even that.
    """
    own = links.own_zones(state, controller)
    found = []
    for name, record in _live(state):
        zones = [zone for zone in zones_of(state.spec, name) if zone in own] if record.state in SPEAKING else []
        if zones:
            kind = "other" if record.priority == PRIORITIES[-1] else name.partition("/")[0]
            found.append({"kind": kind, "priority": record.priority, "zones": zones, "since": rfc3339(record.since)})
    return found


def counts(state: State) -> dict[tuple[str, str], int]:
    """(state, priority) to how many alarms are so."""
    found = {(one, priority): 0 for one in STATES if one != NORMAL for priority in PRIORITIES}
    for _, record in _live(state):
        found[record.state, record.priority] = found.get((record.state, record.priority), 0) + 1
    return found


def document(state: State) -> Data:
    """All alarms in short, the most urgent first, as a bus of the building takes them: at most ``ALARMS_TOLD_MAX``."""
    live = _live(state)
    first = live[: limits.ALARMS_TOLD_MAX]
    return {
        "venue": state.spec.id,
        "unacknowledged": sum(record.state == "unacknowledged" for _, record in live),
        "standing": sum(record.state in SPEAKING for _, record in live),
        "alarms": {
            name: {"state": r.state, "priority": r.priority, "since": rfc3339(r.since), "text": r.text}
            for name, r in first
        },
    }
