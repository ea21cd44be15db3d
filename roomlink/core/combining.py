"""Regrouping: when walls or overflows join or part zones, all that follows is decided in one go.

The order matters: groups, then sources that would cross a closed wall, then what zones that stood alone have to
remember, then who leads and who is linked, then the values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Set
from dataclasses import replace

from roomlink.core import links, orders, sources
from roomlink.core.events import Regrouped, Remembered, RoleSet, WallSet
from roomlink.core.groups import regrouped, shares_group
from roomlink.core.records import Choice, Role
from roomlink.core.spec import ChoiceSpec, CombiningSpec, Value
from roomlink.core.state import Draft, State

Group = tuple[str, ...]


def regroup(draft: Draft, seeds: Iterable[str], *, renew: Set[str] = frozenset()) -> None:
    """Decide the groups around ``seeds`` anew. Those of zones in ``renew`` get leads and links even if they stay.

    Called once for all that changes in one entry: each call treats the zones for the arrangement that it finds.
    """
    seeds = tuple(seeds)
    if not seeds:
        return
    groups = regrouped(draft, seeds)
    old_of: dict[str, Group | None] = {zone: draft.group_of.get(zone) for group in groups for zone in group}
    changed = [group for group in groups if old_of[group[0]] != group]
    if changed:
        draft.emit(Regrouped(tuple(changed)))
    _flag(draft, old_of)
    _drop_lost_sources(draft, changed)
    combining = draft.spec.combining
    if combining is None:
        return
    for group in changed:
        _remember(draft, [z for z in group if len(group) > 1 and old_of[z] == (z,)])
    new = set(changed)
    for group in groups:
        if group in new or not renew.isdisjoint(group):
            _settle_roles(draft, combining, group)
    for group in changed:
        _treat(draft, combining, group, {old_of[zone] for zone in group})


def dissolve(draft: Draft) -> None:
    """Combining is no longer configured: nobody leads or is locked, and no link stands for it."""
    for controller, zone in list(draft.links.live()):
        links.drop_reason(draft, controller, zone, "combining", "combining is no longer configured")
    for controller in list(draft.roles.live()):
        if draft.roles[controller] != Role():
            draft.emit(RoleSet(controller, Role()))


def lead_of(state: State, group: Group) -> str | None:
    """The controller in charge of a group: the first of the lead order whose home is in it."""
    rank = state.spec.lead_rank
    homed = (c for zone in group for c in state.spec.homed_at.get(zone, ()) if c in rank)
    return min(homed, key=rank.__getitem__, default=None)


def _flag(draft: Draft, zones: Iterable[str]) -> None:
    """Flag walls that do not join their zones although those are joined another way."""
    around = {wall: None for zone in zones for wall in draft.spec.walls_of[zone]}
    for name in around:
        wall = draft.walls.get(name)
        if wall is None:
            continue
        flagged = not wall.joins and shares_group(draft, *draft.spec.partitions[name].between)
        if flagged != wall.flagged:
            draft.emit(WallSet(name, replace(wall, flagged=flagged)))


def _drop_lost_sources(draft: Draft, groups: list[Group]) -> None:
    """Sound and picture never cross a closed wall: a zone whose source is in another group falls back first."""
    for group in groups:
        for zone in group:
            for control, spec in draft.spec.zones[zone].controls.items():
                if not isinstance(spec, ChoiceSpec) or not spec.sources:
                    continue
                record = draft.controls.get((zone, control))
                on = (record.pending or record.value) if isinstance(record, Choice) else None
                if on is not None and not shares_group(draft, zone, sources.origin(zone, on)[0]):
                    orders.set_choice(draft, zone, control, spec.fallback, by="combining")


def _remember(draft: Draft, zones: list[str]) -> None:
    for zone in zones:
        values: dict[str, Value] = {}
        for control, spec in draft.spec.zones[zone].controls.items():
            if spec.kind not in ("momentary", "motion") and (zone, control) in draft.controls:
                values[control] = orders.wanted_now(draft, zone, control)
        draft.emit(Remembered(zone, values))


def _settle_roles(draft: Draft, combining: CombiningSpec, group: Group) -> None:
    """Who leads, who mirrors or is locked out, and the links by combining that follow."""
    lead = lead_of(draft, group)
    homed = [c for zone in group for c in draft.spec.homed_at[zone]]
    plural = len(group) > 1
    for controller in homed:
        locked = lead if plural and combining.others == "lock" and controller != lead else None
        role = Role(controller == lead, locked)
        if role.locked is not None:
            _let_go_of_all(draft, controller, f"locked while {lead} leads")
        if draft.roles.get(controller, Role()) != role:
            draft.emit(RoleSet(controller, role))
    for controller in homed:
        follows = controller == lead or (combining.others == "mirror" and lead is not None)
        _settle_links(draft, controller, group if plural and follows else ())


def _settle_links(draft: Draft, controller: str, group: Group) -> None:
    """Replace a controller's links by combining; those for other reasons stay. Home comes back."""
    for zone in draft.linked.get(controller, ()):
        if zone not in group:
            links.drop_reason(draft, controller, zone, "combining", "the zones were separated")
    home = draft.spec.controllers[controller].home
    if (controller, home) not in draft.links:
        links.link(draft, controller, home, "home")
    for zone in group:
        links.link(draft, controller, zone, "combining")


def mirror(draft: Draft, lead: str, zone: str) -> None:
    """The lead of a group was linked or unlinked by hand in it: whoever mirrors it follows."""
    combining = draft.spec.combining
    home = draft.spec.controllers[lead].home
    group = draft.group_of.get(home, (home,))
    leads = lead in draft.roles and draft.roles[lead].lead
    if combining is None or combining.others != "mirror" or not leads or zone not in group or len(group) == 1:
        return
    others = [c for member in group for c in draft.spec.homed_at.get(member, ()) if c != lead]
    for controller in others:
        if (lead, zone) in draft.links:
            links.link(draft, controller, zone, "combining")
        else:
            links.drop_reason(draft, controller, zone, "combining", f"unlinked by hand from {lead}, which leads")


def _let_go_of_all(draft: Draft, controller: str, why: str) -> None:
    for name in list(draft.holds.live()):
        if draft.holds[name].controller == controller:
            orders.let_go(draft, name, draft.now, why)


def _treat(draft: Draft, combining: CombiningSpec, group: Group, olds: set[Group | None]) -> None:
    """Give a changed group its values: a grown one by ``on_combine``, a zone that stands alone by ``on_separate``."""
    if olds == {None}:
        return  # zones that are new to the venue have nothing to be treated for
    old = next(iter(olds)) if len(olds) == 1 else None
    if old is None:
        _combine(draft, combining, group)
    elif len(group) == 1:
        _separate(draft, combining, group[0])
    elif lead_of(draft, group) != lead_of(draft, old):
        _combine(draft, combining, group)


def _combine(draft: Draft, combining: CombiningSpec, group: Group) -> None:
    lead = lead_of(draft, group)
    reference = draft.spec.controllers[lead].home if lead is not None else None
    for control, rule in combining.on_combine.items():
        zones = [zone for zone in group if _treats(draft, zone, control)]
        if rule == "keep" or not zones:
            continue
        if rule in _OF_GROUP:
            levels = [v for zone in zones if isinstance(v := orders.wanted_now(draft, zone, control), float)]
            if not levels:
                continue
            value: Value = _OF_GROUP[str(rule)](levels)
        elif rule == "lead":
            if reference is None or reference not in zones:
                continue
            value = orders.wanted_now(draft, reference, control)
        else:
            value = rule
        for zone in zones:
            if rule != "lead" or zone != reference:
                _give(draft, combining, zone, control, value, named_at=reference if rule == "lead" else None)


_OF_GROUP: dict[str, Callable[[list[float]], float]] = {
    "quietest": min,
    "loudest": max,
    "mean": lambda levels: sum(levels) / len(levels),
}
"""Rules that take one value from the levels of all zones of the group."""


def _separate(draft: Draft, combining: CombiningSpec, zone: str) -> None:
    had = draft.alone.get(zone, {})
    for control, rule in combining.on_separate.items():
        if rule == "keep" or not _treats(draft, zone, control):
            continue
        if rule != "restore":
            _give(draft, combining, zone, control, rule)
        elif control in had:
            _give(draft, combining, zone, control, had[control])


def _treats(draft: Draft, zone: str, control: str) -> bool:
    spec = draft.spec.zones[zone].controls.get(control)
    return spec is not None and spec.scope != "local" and (zone, control) in draft.controls


def _give(
    draft: Draft, combining: CombiningSpec, zone: str, control: str, value: Value, named_at: str | None = None
) -> None:
    """Set a control as a regrouping does: levels over ``blend``, a choice only to what the zone offers."""
    spec = draft.spec.zones[zone].controls[control]
    if isinstance(spec, ChoiceSpec):
        option = None if value == "none" or value is None else str(value)
        if option is not None and named_at is not None:
            option = sources.for_zone(draft, named_at, zone, option, spec)
        if option is None and not spec.allow_none:
            option = spec.fallback
        if option is None or option in sources.offered(draft, zone, control):
            orders.set_choice(draft, zone, control, option, by="combining")
    elif orders.fits(spec, value):
        orders.set_value(draft, zone, control, value, over=combining.blend, by="combining")
