"""Who leads a group, who mirrors the lead or is locked out, and the links by combining that follow."""

from __future__ import annotations

from roomlink.core import links, orders
from roomlink.core.events import RoleSet
from roomlink.core.records import Role
from roomlink.core.spec import CombiningSpec
from roomlink.core.state import Draft, State

Group = tuple[str, ...]


def lead_of(state: State, group: Group) -> str | None:
    """The controller in charge of a group: whoever was given the lead of it, else the first of the lead order whose
    home is in it; one whose panel is gone only where there is no other. ``group`` may be a part of one.
    """
    rank = state.spec.lead_rank
    homed = [c for zone in group for c in state.spec.homed_at.get(zone, ()) if c in rank]
    if not homed:
        return None
    given = state.leads.get(state.group_of.get(group[0], ()))
    if given is not None and given.controller in homed:
        return given.controller
    first = min(homed, key=rank.__getitem__)
    if first not in state.absent:
        return first
    return min((c for c in homed if c not in state.absent), key=rank.__getitem__, default=first)


def told(state: State) -> dict[str, str]:
    """Who leads each group of several zones, by the first of these: what panels call those that they follow."""
    groups = dict.fromkeys(group for group in state.group_of.values() if len(group) > 1)
    return {group[0]: lead for group in groups if (lead := lead_of(state, group)) is not None}


def settle_roles(draft: Draft, combining: CombiningSpec, group: Group) -> None:
    """Who leads, who mirrors or is locked out, and the links by combining that follow."""
    lead = settle_locks(draft, combining, group)
    plural = len(group) > 1
    for controller in (c for zone in group for c in draft.spec.homed_at[zone]):
        follows = controller == lead or (combining.others == "mirror" and lead is not None)
        _settle_links(draft, controller, group if plural and follows else ())


def settle_locks(draft: Draft, combining: CombiningSpec, group: Group) -> str | None:
    """Who leads and who is locked out; no link changes for it. Gives the lead."""
    lead = lead_of(draft, group)
    locks = len(group) > 1 and combining.others == "lock"
    for controller in (c for zone in group for c in draft.spec.homed_at[zone]):
        by = _leads_over(draft, group, controller, lead) if locks else None
        role = Role(controller == lead, None if by == controller else by)
        if role.locked is not None:
            _let_go_of_all(draft, controller, f"locked while {role.locked} leads")
        if draft.roles.get(controller, Role()) != role:
            draft.emit(RoleSet(controller, role))
    return lead


def _leads_over(draft: Draft, group: Group, controller: str, lead: str | None) -> str | None:
    """Who locks a controller out: the lead, but not one of idle zones that came to a live booking's: it has its own."""
    key = draft.in_use.get(draft.spec.controllers[controller].home)
    if key is None or lead is None or draft.spec.controllers[lead].home in draft.in_use:
        return lead
    return lead_of(draft, tuple(zone for zone in group if draft.in_use.get(zone) == key))


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


def dissolve(draft: Draft) -> None:
    """Combining is no longer configured: nobody leads or is locked, and no link stands for it."""
    for controller, zone in list(draft.links.live()):
        links.drop_reason(draft, controller, zone, "combining", "combining is no longer configured")
    for controller in list(draft.roles.live()):
        if draft.roles[controller] != Role():
            draft.emit(RoleSet(controller, Role()))
