"""Links and what goes over them: which zones a press reaches, how they vote, what linking does to levels."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from roomlink.core import feedback, locks, microphones, orders, sources
from roomlink.core.checks import require, standing_over
from roomlink.core.events import HandSet, LinkEnded, LinkSet
from roomlink.core.feedback import Feedback
from roomlink.core.records import Choice, Level, Link, Momentary, Motion, Switch
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, Value
from roomlink.core.state import Draft, State
from roomlink.limits import LEVEL_EPSILON

REASONS = ("hand", "booking", "combining", "home")
"""Why a link stands, the one that tells most first: ``by`` of a face."""


def controls_of(state: State, controller: str) -> Mapping[str, ControlSpec]:
    """What a controller has controls for: those of its home zone, then others of its linked zones."""
    spec = state.spec
    own = spec.zones[spec.controllers[controller].home].controls
    found: dict[str, ControlSpec] | None = None
    for zone in state.linked.get(controller, ()):
        theirs = spec.zones[zone].controls
        if theirs is not own:
            found = found if found is not None else dict(own)
            for control, control_spec in theirs.items():
                found.setdefault(control, control_spec)
    controls = own if found is None else found
    if not spec.travel.roaming:
        return controls
    zones = (spec.controllers[controller].home, *state.linked.get(controller, ()))
    return {c: s for c, s in controls.items() if any(microphones.here(state, zone, c) for zone in zones)}


def reached(state: State, controller: str, control: str, spec: ControlSpec) -> Iterator[str]:
    """The linked zones that a controller's control speaks to, in the order of linking.

    A ``local`` control stays with its zone: combining alone does not carry it.
    """
    zones = state.spec.zones
    for zone in state.linked.get(controller, ()):
        theirs = zones[zone].controls.get(control)
        if theirs is None or theirs.kind != spec.kind:
            continue
        if isinstance(theirs, LevelSpec) and isinstance(spec, LevelSpec) and theirs.unit != spec.unit:
            continue
        if theirs.scope == "local" and state.links[controller, zone].reasons == ("combining",):
            continue
        if not microphones.here(state, zone, control):
            continue
        yield zone


def level_votes(state: State, controller: str, control: str, spec: LevelSpec, now: float) -> list[tuple[str, float]]:
    votes = []
    for zone in reached(state, controller, control, spec):
        record = state.controls[zone, control]
        mask = state.masks.get((zone, control))
        if mask is not None and isinstance(mask.value, int | float):
            votes.append((zone, float(mask.value)))
        elif isinstance(record, Level):
            votes.append((zone, record.at(now)))
    return votes


def votes(state: State, controller: str, control: str, spec: ControlSpec) -> list[tuple[str, Value]]:
    """How the linked zones vote on a choice, switch or momentary; in a gap with what is pending."""
    home = state.spec.controllers[controller].home
    found: list[tuple[str, Value]] = []
    for zone in reached(state, controller, control, spec):
        record = state.controls[zone, control]
        mask = state.masks.get((zone, control))
        if mask is not None:
            found.append((zone, mask.value))
        elif isinstance(record, Choice):
            theirs = state.spec.zones[zone].controls[control]
            assert isinstance(theirs, ChoiceSpec)
            option = record.value if record.pending is None else record.pending
            found.append((zone, sources.seen_from(state, home, zone, option, theirs)))
        elif isinstance(record, Switch | Momentary):
            found.append((zone, record.value))
        elif isinstance(record, Motion):
            found.append((zone, record.running))
    return found


def shown(state: State, controller: str, control: str, spec: ControlSpec, now: float) -> Feedback:
    """The feedback of one control at ``now``."""
    policy = state.spec.controllers[controller].feedback
    if isinstance(spec, LevelSpec):
        return feedback.of_levels(policy, level_votes(state, controller, control, spec, now), spec.tolerance)
    return feedback.of_states(policy, votes(state, controller, control, spec))


def own_zones(state: State, controller: str) -> set[str]:
    """The zones that people at a panel speak for, and are told of: its home, and what it is linked to."""
    require("controller", controller, state.spec.controllers)
    return {*state.linked.get(controller, ()), state.spec.controllers[controller].home}


def link(draft: Draft, controller: str, zone: str, reason: str, *, treats: bool = True) -> None:
    """Link for ``reason``, as the one linked last; a new link treats levels by the controller's ``on_link``.

    Combining gives no order of linking to a link that stands already, and does not touch levels. Nor does a link that
    only follows a regrouping or another lead: ``treats`` is False, for what levels do then is ``on_combine``'s to say.
    """
    old = draft.links.get((controller, zone))
    last = reason != "combining"
    if old is None:
        reasons: tuple[str, ...] = (reason,)
    else:
        reasons = tuple(r for r in REASONS if r == reason or r in old.reasons)
        if not last and reasons == old.reasons:
            return
    new = Link(reasons, draft.now) if old is None else replace(old, reasons=reasons)
    if old is not None and last:
        new = replace(new, since=draft.now)
    fresh = old is None or old.reasons == ("combining",)
    treated = treats and fresh and reason in ("hand", "booking")
    policy = draft.spec.controllers[controller].on_link
    if treated and policy == "pickup":
        levels = (c for c, s in draft.spec.zones[zone].controls.items() if isinstance(s, LevelSpec))
        new = replace(new, pickup=tuple(levels))
    draft.emit(LinkSet(controller, zone, new, last))
    if treated and policy == "carry":
        _carry(draft, controller, zone)


def _carry(draft: Draft, controller: str, zone: str) -> None:
    """Ramp a newly linked zone to the controller's last hand-set values, at the level's own rate."""
    if standing_over(draft, zone) is not None:
        return
    for control, ours in controls_of(draft, controller).items():
        value = draft.hands.get((controller, control))
        if value is None or zone not in reached(draft, controller, control, ours):
            continue
        spec, record = draft.spec.zones[zone].controls[control], draft.controls[zone, control]
        if isinstance(spec, LevelSpec) and isinstance(record, Level) and locks.covering(draft, zone, control) is None:
            distance = abs(spec.clamp(value) - record.at(draft.now))
            orders.set_level(draft, zone, control, value, over=distance / spec.rate, by=controller)


def unlink(draft: Draft, controller: str, zone: str, why: str) -> None:
    """End a link, whatever its reasons: what the controller holds there is let go, the zone stays as it is."""
    for control in draft.spec.zones[zone].controls if zone in draft.spec.zones else ():
        for hold in draft.held.get((zone, control), ()):
            if draft.holds[hold].controller == controller:
                orders.let_go(draft, hold, draft.now, why, (zone,))
    draft.emit(LinkEnded(controller, zone, why))


def drop_reason(draft: Draft, controller: str, zone: str, reason: str, why: str) -> None:
    """A link goes when no reason for it is left."""
    old = draft.links.get((controller, zone))
    if old is None or reason not in old.reasons:
        return
    rest = tuple(r for r in old.reasons if r != reason)
    if rest:
        draft.emit(LinkSet(controller, zone, replace(old, reasons=rest), last=False))
    else:
        unlink(draft, controller, zone, why)


# Levels through a controller


def set_levels(
    draft: Draft, controller: str, control: str, spec: LevelSpec, value: float, over: float, zones: Iterable[str]
) -> tuple[list[str], list[str]]:
    """Set a level in ``zones``, some or all of those reached, by the controller's ``level_mode``.

    Gives the zones that act, and those where the controller has yet to pick the level up.
    """
    offset = draft.spec.controllers[controller].level_mode == "offset"
    by = value - _reference(draft, controller, control, spec) if offset else 0.0
    acting: list[str] = []
    waiting: list[str] = []
    for zone in zones:
        if not _picked_up(draft, controller, zone, control, value):
            waiting.append(zone)
            continue
        acting.append(zone)
        if offset:
            _shift(draft, controller, zone, control, by, over)
        else:
            orders.set_level(draft, zone, control, value, over=over, by=controller)
    remember_hand(draft, controller, control, value)
    return acting, waiting


def clamped(state: State, zones: Iterable[str], control: str, value: Value, controller: str = "") -> dict[str, float]:
    """The ``zones`` whose ceiling keeps them below ``value``, or below what a shift by ``controller`` asks of them."""
    found = {}
    for zone in zones:
        spec, record = state.spec.zones[zone].controls[control], state.controls[zone, control]
        if not isinstance(spec, LevelSpec) or not isinstance(record, Level) or not spec.top < spec.hi:
            continue
        link = state.links.get((controller, zone))
        shifts = link is not None and state.spec.controllers[controller].level_mode == "offset"
        beyond = orders.excess_of(link, control) > 0.0 if shifts and link else _above(value, spec.top)
        if beyond and record.to == spec.top:
            found[zone] = spec.top
    return found


def _above(value: Value, top: float) -> bool:
    return isinstance(value, int | float) and value > top


def _reference(draft: Draft, controller: str, control: str, spec: LevelSpec) -> float:
    """What a shift is measured from: the value shown, or the last-linked zone's if undecided."""
    found = level_votes(draft, controller, control, spec, draft.now)
    seen = feedback.of_levels(draft.spec.controllers[controller].feedback, found, spec.tolerance)
    return seen.value if isinstance(seen.value, float) else found[-1][1]


def _shift(draft: Draft, controller: str, zone: str, control: str, by: float, over: float) -> None:
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, LevelSpec)
    assert isinstance(record, Level)
    # What is held is let go first: only then does the link tell how far beyond the range the hold has carried it.
    orders.end_holds(draft, zone, control, f"a newer order from {controller}")
    free = free_value(draft, controller, zone, control) + by
    orders.set_level(draft, zone, control, free, over=over, by=controller, shifted_by=controller)
    orders.set_excess(draft, controller, zone, control, free - spec.clamp(free))


def step(draft: Draft, controller: str, zone: str, control: str, by: float, over: float) -> None:
    """Change a zone's level by so much from where it is; like raise and lower it waits for no pickup."""
    end_pickup(draft, controller, zone, control)
    if draft.spec.controllers[controller].level_mode == "offset":
        _shift(draft, controller, zone, control, by, over)
        return
    record = draft.controls[zone, control]
    assert isinstance(record, Level)
    orders.set_level(draft, zone, control, record.at(draft.now) + by, over=over, by=controller)


def free_value(draft: Draft, controller: str, zone: str, control: str) -> float:
    """Where a zone's level would stand for this controller if its range had no ends.

    What is kept beyond an end counts only at that end, not where the level was stopped on the way to it.
    """
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, LevelSpec)
    assert isinstance(record, Level)
    here = record.at(draft.now)
    free = here + orders.excess_of(draft.links[controller, zone], control)
    return free if spec.clamp(free) == here else here


def _picked_up(draft: Draft, controller: str, zone: str, control: str, value: float) -> bool:
    """Whether the controller acts on a zone's level: at once, or once its value has met the zone's or passed it."""
    old = draft.links[controller, zone]
    if control not in old.pickup:
        return True
    spec = draft.spec.zones[zone].controls[control]
    record = draft.controls[zone, control]
    assert isinstance(spec, LevelSpec)
    assert isinstance(record, Level)
    here = record.at(draft.now)
    before = draft.hands.get((controller, control))
    met = abs(value - here) <= spec.tolerance + LEVEL_EPSILON
    if not met and (before is None or (before - here) * (value - here) > 0.0):
        return False
    end_pickup(draft, controller, zone, control)
    return True


def end_pickup(draft: Draft, controller: str, zone: str, control: str) -> None:
    old = draft.links[controller, zone]
    if control in old.pickup:
        rest = tuple(c for c in old.pickup if c != control)
        draft.emit(LinkSet(controller, zone, replace(old, pickup=rest), last=False))


def remember_hand(draft: Draft, controller: str, control: str, value: float) -> None:
    if draft.hands.get((controller, control)) != value:
        draft.emit(HandSet(controller, control, value))
