"""Regrouping: when walls or overflows join or part zones, all that follows is decided in one go.

The order matters: whether walls that open combine at all, groups, then sources that would cross a closed wall, radio
microphones and links by hand across it, what zones that stood alone have to remember, who leads and who is linked, then
the values.
"""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import replace

from roomlink.core import asking, homing, leading, orders, radio, sources, treating
from roomlink.core.events import Regrouped, Remembered, WallSet
from roomlink.core.groups import joins, regrouped, shares_group
from roomlink.core.spec import Value
from roomlink.core.state import Draft

Group = tuple[str, ...]


def regroup(draft: Draft, seeds: Iterable[str], *, renew: Set[str] = frozenset()) -> None:
    """Decide the groups around ``seeds`` anew. Those of zones in ``renew`` get leads and links even if they stay.

    Called once for all that changes in one entry: each call treats the zones for the arrangement that it finds.
    """
    seeds = tuple(seeds)
    if not seeds:
        return
    asking.settle(draft, seeds)
    groups = regrouped(draft, seeds)
    old_of: dict[str, Group | None] = {zone: draft.group_of.get(zone) for group in groups for zone in group}
    changed = [group for group in groups if old_of[group[0]] != group]
    olds = {old for group in changed if (old := old_of[group[0]]) is not None}
    led = {old: leading.lead_of(draft, old) for old in olds}
    if changed:
        draft.emit(Regrouped(tuple(changed)))
    _flag(draft, old_of)
    sources.drop_lost(draft, (zone for group in changed for zone in group))
    radio.mute_parted(draft, changed, old_of)
    combining = draft.spec.combining
    if combining is None:
        return
    homing.end_parted(draft, changed, old_of)
    for group in changed:
        _remember(draft, [z for z in group if len(group) > 1 and old_of[z] == (z,)])
    new = set(changed)
    for group in groups:
        if group in new or not renew.isdisjoint(group):
            leading.settle_roles(draft, combining, group)
    for group in changed:
        treating.treat(draft, combining, group, old_of, led)


def _flag(draft: Draft, zones: Iterable[str]) -> None:
    """Flag walls that do not join their zones although those are joined another way."""
    around = {wall: None for zone in zones for wall in draft.spec.walls_of[zone]}
    for name in around:
        wall = draft.walls.get(name)
        if wall is None:
            continue
        flagged = not joins(draft, name) and shares_group(draft, *draft.spec.partitions[name].between)
        if flagged != wall.flagged:
            draft.emit(WallSet(name, replace(wall, flagged=flagged)))


def _remember(draft: Draft, zones: list[str]) -> None:
    for zone in zones:
        values: dict[str, Value] = {}
        for control, spec in draft.spec.zones[zone].controls.items():
            if spec.kind not in ("momentary", "motion") and (zone, control) in draft.controls:
                values[control] = orders.wanted_now(draft, zone, control)
        draft.emit(Remembered(zone, values, draft.now, draft.in_use.get(zone)))
