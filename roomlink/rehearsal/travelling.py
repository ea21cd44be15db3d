"""What travels, held to its rules: sources of zones and of the venue, one-way overflows, microphones.

Worked out from the configuration's data and the tables alone, not by the engine's own look-ups.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from roomlink.core import microphones
from roomlink.core.records import Choice, Switch
from roomlink.core.spec import ChoiceSpec, Value
from roomlink.core.state import State
from roomlink.core.travel_events import OneWay
from roomlink.core.travel_spec import VENUE
from roomlink.rehearsal.plan import Group, Key, Plan
from roomlink.rehearsal.rules import Broken, hold_to


def near(plan: Plan, state: State, key: Key) -> set[str]:
    """The places whose sources a choice may have: its group, what overflows bring it, and the venue."""
    zone, spec = key[0], plan.controls[key]
    assert isinstance(spec, ChoiceSpec)
    found = set(state.group_of.get(zone, (zone,)))
    for flow in state.one_ways.values():
        if flow.to == zone and set(flow.carries) & set(spec.carries):
            found |= set(state.group_of.get(flow.source, (flow.source,)))
    if any(set(s["carries"]) & set(spec.carries) for s in plan.spec.data.get("venue_sources", {}).values()):
        found.add(VENUE)
    return found


def check_sources(
    plan: Plan, flows: Mapping[str, OneWay], groups: Mapping[str, Group], state: State, keys: Iterable[Key]
) -> None:
    """``flows`` and ``groups`` are those of before the entry: they tell which rule it is that does not hold."""
    for key in keys:
        record, spec = state.controls[key], plan.controls[key]
        assert isinstance(record, Choice)
        assert isinstance(spec, ChoiceSpec)
        for option in (record.value, record.pending):
            place, slash, bare = (option or "").rpartition("/")
            if not slash:
                continue
            if place == VENUE:
                source = plan.spec.data.get("venue_sources", {}).get(bare)
                fits = source is not None and set(source["carries"]) & set(spec.carries)
                hold_to("venue", fits, f"{key[1]} in {key[0]} shows {option}, which it cannot take")
            elif place not in near(plan, state, key):
                came = any(f.to == key[0] and place in groups.get(f.source, ()) for f in flows.values())
                why = "no overflow brings it" if came else "a wall is closed between them"
                raise Broken("overflow" if came else "sources", f"{key[1]} in {key[0]} shows {option}, and {why}")


def check_overflows(state: State) -> None:
    for name, flow in state.one_ways.items():
        if flow.booking is not None:
            one = state.occurrences.get(flow.booking)
            on = one is not None and one.status == "confirmed" and one.phase in ("set-up", "running")
            on = on and one is not None and flow.source in one.zones
            hold_to("overflow", on, f"{name} stands after its booking {flow.booking[0]}")


def _at(plan: Plan, assigned: Mapping[str, str], microphone: str) -> str:
    return assigned.get(microphone) or str(plan.spec.data["microphones"][microphone]["zone"])


def is_elsewhere(plan: Plan, state: State, key: Key) -> bool:
    """Whether a control is that of a radio microphone which is in another zone, so that it does not count."""
    known = plan.spec.data.get("microphones") or {}
    radios = (n for n, m in known.items() if m.get("radio") and key[1] in (m.get("level"), m.get("mute")))
    return any(_at(plan, state.microphones, name) != key[0] for name in radios)


def check_microphones(
    plan: Plan, groups: Mapping[str, Group], assigned: Mapping[str, str], state: State, changed: Iterable[Key]
) -> None:
    """``groups`` and ``assigned`` are those of before the entry, ``changed`` the controls that it changed."""
    known = plan.spec.data.get("microphones") or {}
    mutes = {m["mute"]: name for name, m in known.items() if m.get("mute")}
    if not known:
        return
    for key in changed:
        record = state.controls[key]
        if key[1] in mutes and isinstance(record, Switch) and not record.value:
            hold_to("microphones", record.by != "combining", f"{key[1]} in {key[0]} is let out by a wall")
    for name, entry in known.items():
        zone = _at(plan, state.microphones, name)
        if entry.get("radio"):
            _check_radio(name, entry, zone, assigned, state)
            lost = set(groups.get(zone, ())) - set(state.group_of.get(zone, ()))
            if lost and zone == _at(plan, assigned, name):
                text = f"{name} is open in {zone}, though {', '.join(sorted(lost))} is there no more"
                record = state.controls[zone, entry["mute"]]
                # The scene of a booking that begins at this very moment may open it again.
                hold_to("microphones", _muted(state, zone, entry["mute"]) or record.by.startswith("scene "), text)
    heard = microphones.heard(state)
    for name, entry in known.items():
        right = _heard(plan, state, name, entry.get("mute"))
        hold_to("microphones", set(heard[name]) == right, f"{name} is heard in {heard[name]}, not in {sorted(right)}")


def _muted(state: State, zone: str, mute: str) -> bool:
    record, mask = state.controls[zone, mute], state.masks.get((zone, mute))
    assert isinstance(record, Switch)
    return bool(mask.value if mask is not None else record.value)


def _check_radio(name: str, entry: Mapping[str, object], zone: str, assigned: Mapping[str, str], state: State) -> None:
    mute, zones = str(entry["mute"]), entry["zones"]
    assert isinstance(zones, list | tuple)
    for other in zones:
        record = state.controls[other, mute]
        assert isinstance(record, Switch)
        closed = other == zone or record.value
        hold_to("microphones", closed, f"{name} is open in {other}, and is in {zone}")
    moved = assigned.get(name) != state.microphones.get(name)
    hold_to("microphones", not moved or _muted(state, zone, mute), f"{name} is open as it comes to {zone}")


def _heard(plan: Plan, state: State, name: str, mute: str | None) -> set[str]:
    zone = _at(plan, state.microphones, name)
    if mute is not None and _muted(state, zone, mute):
        return set()
    found = set(state.group_of[zone])
    found |= {f.to for f in state.one_ways.values() if f.source in state.group_of[zone] and "sound" in f.carries}
    for override in state.overrides:
        if override in plan.overrides and plan.overrides[override].kind == "life-safety":
            found -= set(plan.overrides[override].zones or plan.zones)
    return found


def muted(plan: Plan, group: Group, olds: Iterable[Group], state: State) -> dict[Key, tuple[str, Value]]:
    """What a wall shall make of the radio microphones of ``group``, which was ``olds``: muted where a zone is lost."""
    lost = {zone for old in olds if not set(old) <= set(group) for zone in old}
    radios = {n: m for n, m in (plan.spec.data.get("microphones") or {}).items() if m.get("radio")}
    places = {name: _at(plan, state.microphones, name) for name in radios}
    return {
        (places[name], radio["mute"]): ("microphones", True)
        for name, radio in radios.items()
        if places[name] in group and places[name] in lost
    }
