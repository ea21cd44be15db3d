"""What controllers shall show, counted out zone by zone from the policies, to compare the engine's feedback with."""

from __future__ import annotations

from statistics import median

from roomlink.core import view
from roomlink.core.records import Choice, Level, Motion
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, Value
from roomlink.core.state import State
from roomlink.limits import LEVEL_EPSILON, VIEW_DECIMALS
from roomlink.rehearsal import travelling
from roomlink.rehearsal.invariants import Broken, said
from roomlink.rehearsal.plan import Plan

Shown = tuple[Value, bool, bool, list[str]]
"""Value, decided, mixed, outliers."""


def check_faces(plan: Plan, state: State, now: float) -> None:
    """Hold what every controller shows to the rules. Raises ``Broken``."""
    for controller, spec in plan.spec.controllers.items():
        for control, seen in view.face(state, controller, now)["controls"].items():
            votes = _votes(plan, state, controller, control, now)
            kind = _kind(plan, state, controller, control)
            if isinstance(kind, LevelSpec):
                wished = of_levels(spec.feedback, [(z, float(v)) for z, v in votes if v is not None], kind.tolerance)
            else:
                wished = of_states(spec.feedback, votes)
            found = (seen["value"], seen["decided"], seen["mixed"], seen["outliers"])
            if found != wished:
                where = f"{controller} shows {said(found[0])} for {control}, decided {found[1]}, mixed {found[2]}"
                raise Broken("feedback", f"{where}, outliers {found[3]}; by the rules {wished}")


def _kind(plan: Plan, state: State, controller: str, control: str) -> ControlSpec:
    """The control as the controller shows it: as in its home, else as in the first linked zone that has it."""
    zones = (plan.homes[controller], *state.linked.get(controller, ()))
    return next(plan.controls[z, control] for z in zones if (z, control) in plan.controls)


def _votes(plan: Plan, state: State, controller: str, control: str, now: float) -> list[tuple[str, Value]]:
    """The linked zones that the control speaks to, in the order of linking, and what each says."""
    home = plan.homes[controller]
    ours = _kind(plan, state, controller, control)
    votes: list[tuple[str, Value]] = []
    for zone in state.linked.get(controller, ()):
        theirs = plan.controls.get((zone, control))
        if theirs is None or theirs.kind != ours.kind:
            continue
        if isinstance(theirs, LevelSpec) and isinstance(ours, LevelSpec) and theirs.unit != ours.unit:
            continue
        if theirs.scope == "local" and state.links[controller, zone].reasons == ("combining",):
            continue
        if travelling.is_elsewhere(plan, state, (zone, control)):
            continue
        votes.append((zone, _vote(plan, state, home, zone, control, now)))
    return votes


def _vote(plan: Plan, state: State, home: str, zone: str, control: str, now: float) -> Value:
    mask = state.masks.get((zone, control))
    if mask is not None:
        return mask.value
    record, spec = state.controls[zone, control], plan.controls[zone, control]
    if isinstance(record, Level):
        return record.at(now)
    if isinstance(record, Motion):
        return record.running
    if not isinstance(record, Choice):
        return record.value
    option = record.value if record.pending is None else record.pending
    if option is None or not isinstance(spec, ChoiceSpec) or not spec.sources:
        return option
    place, slash, bare = option.rpartition("/")
    place = place if slash else zone
    # A panel hears zones apart from its own group by their own names for what is theirs.
    apart = zone not in state.group_of[home]
    return bare if place == home or (apart and place == zone) else f"{place}/{bare}"


def of_states(policy: str, votes: list[tuple[str, Value]]) -> Shown:
    values = [value for _, value in votes]
    if not values:
        return None, False, False, []
    shown = {
        "mismatch-flag": [v for v in values if values.count(v) == len(values)],
        "majority": [v for v in values if values.count(v) * 2 > len(values)],
        "last-linked": values[-1:],
    }[policy]
    outliers = [zone for zone, v in votes if not shown or v != shown[0]]
    return (shown[0] if shown else None), bool(shown), any(v != values[0] for v in values), outliers


def of_levels(policy: str, votes: list[tuple[str, float]], tolerance: float) -> Shown:
    values = [value for _, value in votes]
    if not values:
        return None, False, False, []
    near = tolerance + LEVEL_EPSILON
    middle, agree = median(values), max(values) - min(values) <= near
    most = sum(abs(v - middle) <= near for v in values) * 2 > len(values)
    shown = {
        "mismatch-flag": middle if agree else None,
        "majority": middle if most else None,
        "last-linked": values[-1],
    }[policy]
    outliers = [zone for zone, v in votes if shown is None or abs(v - shown) > near]
    rounded = None if shown is None else round(shown, VIEW_DECIMALS)
    return rounded, shown is not None, not agree, outliers
