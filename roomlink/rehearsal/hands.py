"""Circumstances of a proof that people make: a lock by hand, and a lead that goes from one panel to another."""

from __future__ import annotations

from roomlink.core.commands import Act, Command, RecallScene, ReleaseLock, ReportPanel, SetLock, TakeLead
from roomlink.core.spec import LevelSpec
from roomlink.errors import Refused
from roomlink.rehearsal.circumstances import PERSON, moved
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.rules import Broken, hold_to
from roomlink.rehearsal.trial import Trial

LOCK = "rehearsed"


def locked(plan: Plan, trial: Trial, wall: str) -> None:
    """A zone beside the wall is locked while hands, a scene and the wall itself come; then the lock is released."""
    zone = plan.walls[wall][0]
    trial.do(SetLock(PERSON, LOCK, zone=zone))
    for control, spec in plan.spec.zones[zone].controls.items():
        if isinstance(spec, LevelSpec):
            _refused(trial, Act(PERSON, control, "set", zone=zone, value=spec.lo))
            break
    for scene, one in plan.spec.scenes.items():
        if zone in one.zones or one.zone == zone or one.type == plan.spec.zones[zone].type:
            _refused(trial, RecallScene(PERSON, scene, (zone,)))
            break
    trial.do(moved(wall, "closed" if trial.state.walls[wall].joins else "open"))
    _refused(trial, ReleaseLock(PERSON, LOCK))
    trial.do(ReleaseLock(PERSON, LOCK, entitled=True))
    hold_to("lock", LOCK not in trial.state.locks, "a lock that was released stands")


def _refused(trial: Trial, command: Command) -> None:
    try:
        trial.do(command)
    except Refused as refusal:
        if refusal.kind == "locked" and refusal.members.get("lock") == LOCK:
            return
        if refusal.kind in ("nothing-linked", "elsewhere"):
            return  # there was nothing to lock
        raise
    raise Broken("lock", f"{type(command).__name__} is carried out beneath a lock")


def led_by_others(plan: Plan, trial: Trial, wall: str) -> None:
    """The panel that leads beside the wall goes and comes back; then a person takes the lead, and the wall moves."""
    group = trial.state.group_of[plan.walls[wall][0]]
    listed = [controller for controller in plan.lead_order if plan.homes[controller] in group]
    if len(listed) < 2:
        return
    first, heir, *_ = listed
    trial.do(ReportPanel(PERSON, first, False, tuple(listed[1:])))
    _leads(trial, heir, f"the panel of {first} is gone")
    trial.do(ReportPanel(PERSON, first, True))
    _leads(trial, heir, f"the panel of {first} is back")
    trial.do(TakeLead(PERSON, first))
    _leads(trial, first, "a person took the lead for it")
    trial.do(moved(wall, "closed" if trial.state.walls[wall].joins else "open"))


def _leads(trial: Trial, controller: str, why: str) -> None:
    role = trial.state.roles.get(controller)
    hold_to("handover", role is not None and role.lead, f"{controller} does not lead though {why}")
