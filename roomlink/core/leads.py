"""The lead goes from one controller to another: by a person, or because the lead's panel is gone.

Whoever got the lead so keeps it until the group is regrouped: a panel that comes back does not take it away again. What
follows from a lead (links by combining, mirrors and locked-out panels, a booking's links) follows in the same entry.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from roomlink.core import alarms, leading, locks, occupancy
from roomlink.core.checks import require
from roomlink.core.lead_records import HANDED_OVER, TAKEN, Lead, LeadEnded, LeadSet, PanelSet, ReportPanel, TakeLead
from roomlink.core.spec import Spec
from roomlink.core.state import Draft, State
from roomlink.errors import Refused

Group = tuple[str, ...]
Data = dict[str, Any]


def take(draft: Draft, command: TakeLead) -> Data:
    """A person has a controller lead its group. Refused for one that is not in the lead order, or locked by hand."""
    controller = command.controller
    require("controller", controller, draft.spec.controllers)
    if controller not in draft.spec.lead_rank:
        known = list(draft.spec.lead_rank)
        raise Refused("never-leads", f"{controller} is not in the lead order, so that it never leads", allowed=known)
    locks.require_key(draft, controller)
    group = _group(draft, controller)
    if leading.lead_of(draft, group) != controller:
        _give(draft, group, Lead(controller, TAKEN, draft.now, command.by.who))
    return {"zones": list(group)}


def report_panel(draft: Draft, command: ReportPanel) -> Data:
    """A lead's panel is gone: the next of the lead order that is there leads, with one alarm; or it is back."""
    controller = command.controller
    require("controller", controller, draft.spec.controllers)
    alarm = f"panel-lost/{controller}"
    if command.there:
        _back(draft, controller, command.by.who)
        return {"zones": []}
    group = _group(draft, controller)
    led = leading.lead_of(draft, group) == controller
    if controller not in draft.absent:
        draft.emit(PanelSet(controller, draft.now))
    heir = _next(draft, group, controller, command.others) if led else None
    if heir is not None:
        _give(draft, group, Lead(heir, HANDED_OVER, draft.now, command.by.who))
    elif led:
        _keep(draft, group, controller, command.by.who)  # nobody else is there
    alarms.raise_alarm(draft, alarm, _words(controller, group, heir, led=led))
    return {"zones": list(group)}


def _words(controller: str, group: Group, heir: str | None, *, led: bool) -> str:
    what = f"the panel of {controller} is gone"
    if not led:
        return what
    follows = "no other panel is there, and it keeps the lead" if heir is None else f"{heir} leads now"
    return f"{what}, which led {' + '.join(group)}: {follows}"


def _group(state: State, controller: str) -> Group:
    home = state.spec.controllers[controller].home
    group: Group = state.group_of.get(home, (home,))
    return group


def _next(state: State, group: Group, gone: str, there: tuple[str, ...]) -> str | None:
    """The first of the lead order in a group that is there, but for the one that is gone."""
    homed = [c for zone in group for c in state.spec.homed_at.get(zone, ()) if c in there and c != gone]
    able = [c for c in homed if c in state.spec.lead_rank and c not in state.absent]
    return min(able, key=state.spec.lead_rank.__getitem__, default=None)


def _back(draft: Draft, controller: str, by: str) -> None:
    """A panel is there again, and leads no more than it did."""
    if controller in draft.absent:
        group = _group(draft, controller)
        leader = leading.lead_of(draft, group)
        draft.emit(PanelSet(controller, None))
        if leader is not None:
            _keep(draft, group, leader, by)
    alarms.clear_alarm(draft, f"panel-lost/{controller}")


def _keep(draft: Draft, group: Group, leader: str, by: str) -> None:
    """Whoever leads goes on, where the lead order with those that are there would have another one."""
    if leading.lead_of(draft, group) != leader:
        draft.emit(LeadSet(group, Lead(leader, HANDED_OVER, draft.now, by)))


def _give(draft: Draft, group: Group, lead: Lead) -> None:
    """Have a group led by somebody, with all that follows."""
    draft.emit(LeadSet(group, lead))
    combining = draft.spec.combining
    if combining is not None:
        leading.settle_roles(draft, combining, group)
    occupancy.settle(draft, [zone for zone in group if zone in draft.in_use], treats=False)


def settle(draft: Draft, old: Spec) -> None:
    """After a new configuration: leads and absences of what is gone end, with another lead order all leads that were
    given. Called before roles are settled.
    """
    anew = draft.spec.lead_rank != old.lead_rank
    for group in list(draft.leads.live()):
        controller = draft.leads[group].controller
        spec = draft.spec.controllers.get(controller)
        if anew or spec is None or spec.home not in group:
            draft.emit(LeadEnded(group))
    for controller in list(draft.absent.live()):
        known = draft.spec.controllers.get(controller)
        if known is not None and known.panel != "none":
            continue
        if known is None or anew:
            draft.emit(PanelSet(controller, None))
        if known is not None:
            _back(draft, controller, "configuration")


DECIDE: dict[type[Any], Callable[[Draft, Any], Data]] = {TakeLead: take, ReportPanel: report_panel}
