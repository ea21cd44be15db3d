"""Overrides: inputs such as a fire panel's contact that mask outputs until they clear.

A mask lies over the controls: diary and regrouping go on beneath it, orders by hand are refused. When it clears,
nothing moves by itself: light returns over ``blend``, sound and motion stay as they are until a person lets them out.
This is not a safety function: the fire panel acts by its own wiring first.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core import alarms, motion, orders
from roomlink.core.checks import require
from roomlink.core.commands import ReportOverride
from roomlink.core.events import ControlSet, Masked, OverrideCleared, OverrideSet, Unmasked
from roomlink.core.records import Choice, Level, Mask, Override, Switch
from roomlink.core.spec import LevelSpec
from roomlink.core.state import Draft, State

RANK = {"life-safety": 0, "lockout": 1}
"""Which override's values count where several stand."""

SOUND_UNITS = ("dB", "dBu", "dBFS")
"""Levels in these stay where the override put them: sound never comes back by itself."""


def zones_of(state: State, override: str) -> tuple[str, ...]:
    zones = state.spec.overrides[override].zones
    return tuple(state.spec.zones) if zones is None else zones


def report(draft: Draft, command: ReportOverride) -> dict[str, Any]:
    """An override's input says that it is active or clear. Saying so again changes nothing."""
    name = command.override
    require("override", name, draft.spec.overrides)
    stands = name in draft.overrides
    if command.lost:
        alarms.raise_alarm(draft, f"override-lost/{name}", f"the override {name} counts as active: {command.why}")
    else:
        alarms.clear_alarm(draft, f"override-lost/{name}")
    if command.active and not stands:
        _start(draft, name, command.why)
    elif stands and not command.active:
        _clear(draft, name)
    return {"zones": list(zones_of(draft, name))}


def settle(draft: Draft) -> None:
    """After a change of configuration: overrides that are gone end, and masks are as the standing ones say."""
    for name in list(draft.overrides.live()):
        if name not in draft.spec.overrides:
            draft.emit(OverrideCleared(name))
    if len(list(draft.overrides.live())) or len(list(draft.masks.live())):
        _mask(draft, draft.spec.zones)


def _start(draft: Draft, name: str, why: str) -> None:
    draft.emit(OverrideSet(name, Override(draft.now, why)))
    zones = zones_of(draft, name)
    for hold in list(draft.holds.live()):
        orders.let_go(draft, hold, draft.now, f"{name} override", zones)
    motion.stop_all(draft, zones, f"{name} override")
    _mask(draft, zones)


def _mask(draft: Draft, zones: Iterable[str]) -> None:
    """Give each control the mask that the standing overrides say, or none."""
    standing = sorted(draft.overrides.live(), key=lambda o: RANK[draft.spec.overrides[o].kind])
    covering = [(name, set(zones_of(draft, name)), draft.spec.overrides[name].values) for name in standing]
    for zone in zones:
        for control in draft.spec.zones[zone].controls:
            found = next((Mask(n, v[control]) for n, zs, v in covering if zone in zs and control in v), None)
            old = draft.masks.get((zone, control))
            if found is not None and found != old:
                draft.emit(Masked(zone, control, found))
            elif found is None and old is not None:
                _unmask(draft, zone, control, old)


def _clear(draft: Draft, name: str) -> None:
    draft.emit(OverrideCleared(name))
    _mask(draft, zones_of(draft, name))


def _unmask(draft: Draft, zone: str, control: str, mask: Mask) -> None:
    """Take a mask away such that the output does not jump."""
    draft.emit(Unmasked(zone, control))
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    by = f"{mask.override} override"
    if isinstance(record, Level) and isinstance(spec, LevelSpec) and isinstance(mask.value, int | float):
        here = float(mask.value)
        blend = draft.spec.overrides[mask.override].blend if mask.override in draft.spec.overrides else 0.0
        if spec.unit in SOUND_UNITS:
            quiet = min(here, record.at(draft.now))
            draft.emit(ControlSet(zone, control, Level(quiet, quiet, draft.now, 0.0, by)))
        elif record.to != here and blend > 0.0:
            draft.emit(ControlSet(zone, control, Level(here, record.to, draft.now, blend, by)))
    elif isinstance(record, Switch) and isinstance(mask.value, bool):
        if record.value != mask.value or record.pending is not None:
            draft.emit(ControlSet(zone, control, Switch(mask.value, draft.now, by=by)))
    elif isinstance(record, Choice) and orders.wanted(record, draft.now) != mask.value:
        option = None if mask.value is None else str(mask.value)
        draft.emit(ControlSet(zone, control, Choice(option, free=record.free, by=by)))
