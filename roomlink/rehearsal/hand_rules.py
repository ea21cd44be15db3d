"""What the watch asks of locks and leads, read from the state's tables and from the rules, not by the engine's code."""

from __future__ import annotations

from collections.abc import Mapping

from roomlink.core.lock_records import Lock
from roomlink.core.records import Control, Level, Role
from roomlink.core.state import State
from roomlink.rehearsal.plan import Group, Key, Plan, wanted
from roomlink.rehearsal.rules import NEAR


def lead(plan: Plan, state: State, group: Group) -> str | None:
    """Who shall lead: whoever was given the lead, else the first of the lead order, those whose panel is gone last."""
    listed = [controller for controller in plan.lead_order if plan.homes[controller] in group]
    given = state.leads.get(group)
    if given is not None:
        return given.controller if given.controller in listed else None
    return next((controller for controller in listed if controller not in state.absent), next(iter(listed), None))


def locked_by(plan: Plan, state: State, group: Group, controller: str, leader: str | None) -> str | None:
    """Who shall lock a controller out where ``others`` is ``lock``: the lead, but for a live booking among idle zones
    the lead of its own zones.
    """
    of = {other: state.in_use.get(home) for other, home in plan.homes.items() if home in group}
    if leader is not None and of[controller] is not None and of[leader] is None:
        leader = lead(plan, state, tuple(zone for zone in group if state.in_use.get(zone) == of[controller]))
    return None if leader == controller else leader


def led(plan: Plan, roles: Mapping[str, Role], group: Group) -> str | None:
    """Who has the role of the lead among those at home in ``group``."""
    listed = (controller for controller in plan.lead_order if plan.homes[controller] in group)
    return next((c for c in listed if (role := roles.get(c)) is not None and role.lead), None)


def keeps(locks: Mapping[str, Lock], key: Key) -> bool:
    """Whether one of ``locks`` keeps a control of a zone."""
    zone, control = key
    return any(lock.zone == zone and (not lock.controls or control in lock.controls) for lock in locks.values())


def changed_beneath(
    before: Mapping[Key, Control], locks: Mapping[str, Lock], state: State, now: float
) -> tuple[Key, Control] | None:
    """A control that was locked before an entry and after it, and was set in it nevertheless."""
    for key, old in before.items() if locks else ():
        new = state.controls.get(key)
        if new is None or new is old or not (keeps(locks, key) and keeps(state.locks, key)):
            continue
        was, is_now = wanted(old, now, held=False), wanted(new, now, held=False)
        still = was == is_now
        if isinstance(old, Level) and isinstance(new, Level):
            still = abs(old.to - new.to) <= NEAR
        if not still:
            return key, new
    return None
