"""What joining and parting shall do to the values of a group, read from the rules: the watch compares with it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Container, Mapping
from statistics import fmean

from roomlink.core.spec import ChoiceSpec, CombiningSpec, Value
from roomlink.core.travel_spec import VENUE
from roomlink.rehearsal.adoption import Adopted, louder
from roomlink.rehearsal.plan import Group, Key, Plan, clamped

OF_GROUP: dict[str, Callable[[list[float]], float]] = {"quietest": min, "loudest": max, "mean": fmean}

Near = Callable[[Key], Collection[str]]
Wish = tuple[str, Value]
"""(the rule that says so, the value that the control shall go to)"""


def treated(
    plan: Plan,
    group: Group,
    olds: set[Group],
    before: Mapping[Key, Value],
    kept: Mapping[str, Value],
    chosen: Adopted | None,
    near: Callable[[Key], Collection[str]] | None = None,
    leads: tuple[str | None, str | None] | None = None,
    in_use: Container[str] = (),
) -> dict[Key, Wish]:
    """What each control of ``group``, which was ``olds`` until now, shall go to.

    ``kept`` is what a zone that stands alone gets back; ``chosen`` is adopted by those who join. ``near`` gives the
    places whose sources a choice may have then; the zones of the group if nothing is said. ``leads``: who led the old
    group and who leads the new one, where there is one old group; by the lead order if nothing is said. A booking that
    keeps all of its zones, those ``in_use``, goes on as it is.
    """
    near = near or (lambda key: group)
    wishes: dict[Key, Wish] = {}
    for zone in group:
        for key in plan.keys_of[zone].values():
            wishes[key] = ("local" if plan.local[key] else "quiet" if len(olds) == 1 else "combine", before[key])
    _lose_sources(plan, near, wishes)
    combining = plan.combining
    if combining is None:
        return wishes
    old = next(iter(olds))
    if len(olds) > 1:
        _join(plan, combining, group, near, wishes, chosen)
    elif (live := {zone for zone in old if zone in in_use}) and live <= set(group):
        pass
    elif len(group) == 1:
        _separate(plan, combining, group[0], near, wishes, kept)
    elif (led := leads or (plan.lead_of(old), plan.lead_of(group)))[0] != led[1]:
        lead = led[1]
        new = None if lead is None else Adopted(plan.homes[lead], (plan.homes[lead],), ())
        _combine(plan, combining, group, near, wishes, new, quietly=True)
    return wishes


def _join(
    plan: Plan, combining: CombiningSpec, group: Group, near: Near, wishes: dict[Key, Wish], chosen: Adopted | None
) -> None:
    """A live booking stays as it is, and whoever joins it takes what it has; else all go by the rules."""
    if chosen is None or not chosen.booked:
        _combine(plan, combining, group, near, wishes, chosen)
        return
    if chosen.booked != chosen.part:
        _combine(plan, combining, chosen.booked, near, wishes, chosen)
    for control, rule in combining.on_combine.items():
        theirs = (chosen.zone, control)
        if rule == "keep" or theirs not in wishes or plan.local[theirs]:
            continue
        for zone in group:
            key = plan.keys_of[zone].get(control)
            if zone not in chosen.booked and key is not None and not plan.local[key]:
                _wish(plan, near, wishes, "combine", key, wishes[theirs][1], chosen.zone)


def _lose_sources(plan: Plan, near: Near, wishes: dict[Key, Wish]) -> None:
    """A source that may no longer be had gives way to the fallback, before anything else."""
    for key, (_, value) in list(wishes.items()):
        spec = plan.controls[key]
        there = value.rpartition("/")[0] if isinstance(value, str) else ""
        if isinstance(spec, ChoiceSpec) and spec.sources and there:
            lost = there not in near(key)
            if lost or there == VENUE:
                wishes[key] = ("sources", spec.fallback) if lost else ("venue", value)


def _combine(
    plan: Plan,
    combining: CombiningSpec,
    group: Group,
    near: Near,
    wishes: dict[Key, Wish],
    chosen: Adopted | None,
    *,
    quietly: bool = False,
) -> None:
    home = None if chosen is None else chosen.zone
    stay = () if chosen is None else chosen.part
    for control, rule in combining.on_combine.items():
        keys = [k for z in group if (k := plan.keys_of[z].get(control)) is not None and not plan.local[k]]
        had = {key: wishes[key][1] for key in keys}
        numbers = [float(v) for v in had.values() if isinstance(v, int | float) and not isinstance(v, bool)]
        if rule == "keep" or not keys:
            continue
        if rule in OF_GROUP:
            if not numbers:
                continue
            value: Value = OF_GROUP[str(rule)](numbers)
        elif rule == "lead":
            if home is None or (home, control) not in had:
                continue
            value = had[home, control]
        else:
            value = rule
        asked = rule != "lead" and rule not in OF_GROUP
        for key in keys:
            blocked = quietly and not asked and louder(plan.controls[key], control, had[key], value)
            if not blocked and (rule != "lead" or key[0] not in stay):
                _wish(plan, near, wishes, "combine", key, value, home if rule == "lead" else None)


def _separate(
    plan: Plan, combining: CombiningSpec, zone: str, near: Near, wishes: dict[Key, Wish], had: Mapping[str, Value]
) -> None:
    for control, rule in combining.on_separate.items():
        key = plan.keys_of[zone].get(control)
        if key is None or plan.local[key] or rule == "keep":
            continue
        if rule != "restore":
            _wish(plan, near, wishes, "restore", key, rule, None)
        elif control in had and not louder(plan.controls[key], control, wishes[key][1], had[control]):
            _wish(plan, near, wishes, "restore", key, had[control], None)


def _wish(
    plan: Plan, near: Near, wishes: dict[Key, Wish], rule: str, key: Key, value: Value, seen_at: str | None
) -> None:
    """Wish a value; a choice only if it is on offer here, said as this zone says it."""
    spec = plan.controls[key]
    if spec.kind in ("momentary", "motion"):
        return
    if isinstance(spec, ChoiceSpec):
        option = None if value == "none" or value is None else str(value)
        if option is not None and spec.sources and seen_at is not None:
            option = _said_in(key[0], seen_at, option)
        if option is None and not spec.allow_none:
            option = spec.fallback
        if option is None or _on_offer(plan, near, key, option):
            wishes[key] = (rule, option)
    elif isinstance(value, bool) == (spec.kind == "switch") and isinstance(value, bool | int | float):
        wishes[key] = (rule, clamped(spec, value))


def _said_in(zone: str, seen_at: str, option: str) -> str:
    place, _, bare = option.rpartition("/")
    place = place or seen_at
    return bare if place == zone else f"{place}/{bare}"


def _on_offer(plan: Plan, near: Near, key: Key, option: str) -> bool:
    spec = plan.controls[key]
    assert isinstance(spec, ChoiceSpec)
    place, _, bare = option.rpartition("/")
    if not place:
        return option in spec.options
    if place == VENUE:
        return place in near(key)
    theirs = plan.controls.get((place, key[1]))
    travels = spec.sources and isinstance(theirs, ChoiceSpec) and theirs.sources
    return place in near(key) and travels and isinstance(theirs, ChoiceSpec) and bare in theirs.options
