"""Who adopts whom when zones join, read from the rules: a live booking's part, else the one used last, else the lead's.

And what a zone gets back when it parts: what it had, in the same booking or a while ago, else its idle values.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import asdict
from typing import Any, NamedTuple

from roomlink.core.records import StoredScene
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, SwitchSpec, Value
from roomlink.rehearsal.plan import Group, Plan, clamped

NEVER = float("-inf")


class Adopted(NamedTuple):
    """``part`` is what others adopt, ``zone`` says how it is. ``booked`` are the zones of live bookings, where some
    of the others have none.
    """

    zone: str
    part: Group
    booked: Group


def adopted(
    plan: Plan,
    group: Group,
    old_of: Mapping[str, Group],
    used: Mapping[str, float],
    in_use: Mapping[str, tuple[str, str]],
    absent: Container[str] = (),
) -> Adopted | None:
    """Which part of a group that grew is adopted; None where nobody can tell. ``absent``: whose panels are gone."""
    # Those that are there lead before those that are gone.
    place = {controller: (controller not in absent, -rank) for rank, controller in enumerate(plan.lead_order)}

    def leads(zones: Group) -> list[tuple[bool, int]]:
        return [at for controller, at in place.items() if plan.homes[controller] in zones]

    def weight(part: Group) -> tuple[bool, float, tuple[bool, float]]:
        newest = max(used.get(zone, NEVER) for zone in part)
        return any(zone in in_use for zone in part), newest, max(leads(part), default=(False, NEVER))

    parts = list(dict.fromkeys(tuple(z for z in group if old_of[z] == old_of[zone]) for zone in group))
    ranked = sorted(parts, key=weight, reverse=True)
    first = ranked[0]
    if len(ranked) > 1 and weight(first) == weight(ranked[1]) and plan.lead_of(group) is None:
        return None
    booked = [part for part in parts if weight(part)[0]]
    of_bookings = tuple(zone for part in booked for zone in part) if len(booked) < len(parts) else ()
    speak = tuple(zone for zone in first if zone in in_use) or first
    led = {at: controller for controller, at in place.items() if plan.homes[controller] in speak}
    zone = plan.homes[led[max(led)]] if led else max(speak, key=lambda one: used.get(one, NEVER))
    return Adopted(zone, first, of_bookings)


def idle_values(plan: Plan, zone: str, saved: Mapping[str, StoredScene]) -> dict[str, Value]:
    """What a zone has when nobody needs it."""
    found = {name: _start(plan.controls[key]) for name, key in plan.keys_of[zone].items()}
    spec = plan.spec.zones[zone]
    idle = spec.idle or ""
    if idle in saved:
        content: dict[str, Any] = saved[idle].content
    elif idle in plan.spec.scenes:
        content = asdict(plan.spec.scenes[idle])
    else:
        return found
    at, kind = content.get("zone"), content.get("type")
    values: dict[str, Value] = {}
    if content.get("zones"):
        values = content["zones"].get(zone, {})
    elif at == zone or (at is None and kind == spec.type):
        values = content["values"]
    return found | values


def _start(spec: ControlSpec) -> Value:
    return clamped(spec, spec.start) if isinstance(spec, LevelSpec | ChoiceSpec | SwitchSpec) else None


def louder(spec: ControlSpec, control: str, was: Value, value: Value) -> bool:
    """Whether going from ``was`` to ``value`` lets more sound through."""
    if isinstance(spec, SwitchSpec):
        mutes = spec.mutes if spec.mutes is not None else control.split("-")[-1] == "mute"
        return mutes and was is True and value is False
    if isinstance(spec, LevelSpec) and isinstance(was, float | int) and isinstance(value, float | int):
        return bool(spec.sound if spec.sound is not None else spec.unit == "dB") and value > was
    return False
