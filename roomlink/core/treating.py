"""What joining and parting do to the values of zones: a grown group by ``on_combine``, a zone left alone by
``on_separate``.

What parts gets no louder: ``quiet`` keeps a mute that is on and lowers what would rise, unless the configuration
names the very value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from roomlink.core import idle, locks, orders, reference, sources
from roomlink.core.leading import lead_of
from roomlink.core.reference import Reference
from roomlink.core.spec import ChoiceSpec, CombiningSpec, ControlSpec, LevelSpec, SwitchSpec, Value
from roomlink.core.state import Draft, State

Group = tuple[str, ...]


def treat(
    draft: Draft,
    combining: CombiningSpec,
    group: Group,
    old_of: Mapping[str, Group | None],
    led: Mapping[Group, str | None],
) -> None:
    """Give a changed group its values. ``old_of`` holds each zone's group until now; None: it is new to the venue.

    ``led`` says who led the old groups, which may have been given to them and is so no longer.
    """
    olds = {old_of[zone] for zone in group}
    if olds == {None}:
        return  # zones that are new to the venue have nothing to be treated for
    old = next(iter(olds)) if len(olds) == 1 else None
    if old is None:
        _combine(draft, combining, group, reference.choose(draft, group, reference.parts_of(group, old_of)))
    elif _goes_on(draft, group, old):
        return
    elif len(group) == 1:
        _separate(draft, combining, group[0])
    elif (lead := lead_of(draft, group)) != led[old]:
        home = None if lead is None else draft.spec.controllers[lead].home
        _follow_rules(draft, combining, group, None if home is None else Reference(home, (home,)), parting=True)


def _goes_on(state: State, group: Group, old: Group) -> bool:
    """Whether a live booking keeps all its zones, and only idle ones leave it: it goes on as it is."""
    left = [zone for zone in old if zone not in group]
    return any(zone in state.in_use for zone in group) and not any(zone in state.in_use for zone in left)


def _combine(draft: Draft, combining: CombiningSpec, group: Group, chosen: Reference | None) -> None:
    if chosen is None or not chosen.settled:
        _follow_rules(draft, combining, group, chosen)
        return
    # A live booking goes on as it is, and those that join it adopt what it has, whatever the rules say of equals.
    settled = chosen.settled
    if settled != chosen.part:
        _follow_rules(draft, combining, settled, chosen)
    newcomers = [zone for zone in group if zone not in settled]
    for control, rule in combining.on_combine.items():
        if rule != "keep" and treats(draft, chosen.zone, control):
            value = orders.wanted_now(draft, chosen.zone, control)
            for zone in newcomers:
                give(draft, combining, zone, control, value, named_at=chosen.zone)


def _follow_rules(
    draft: Draft, combining: CombiningSpec, group: Iterable[str], chosen: Reference | None, *, parting: bool = False
) -> None:
    """Carry out ``on_combine`` in ``group``. ``parting``: it is what is left of a larger one, and gets no louder."""
    group = tuple(group)
    for control, rule in combining.on_combine.items():
        zones = [zone for zone in group if treats(draft, zone, control)]
        if rule == "keep" or not zones:
            continue
        named_at = None
        if rule in _OF_GROUP:
            levels = [v for zone in zones if isinstance(v := orders.wanted_now(draft, zone, control), float)]
            if not levels:
                continue
            value: Value = _OF_GROUP[str(rule)](levels)
        elif rule == "lead":
            if chosen is None or chosen.zone not in zones:
                continue
            value = orders.wanted_now(draft, chosen.zone, control)
            zones, named_at = [zone for zone in zones if zone not in chosen.part], chosen.zone
        else:
            value = rule
        asked_for = rule not in _OF_GROUP and rule != "lead"
        for zone in zones:
            if not parting or asked_for:
                give(draft, combining, zone, control, value, named_at=named_at)
            else:
                _give_quietly(draft, combining, zone, control, value, named_at=named_at)


_OF_GROUP: dict[str, Callable[[list[float]], float]] = {
    "quietest": min,
    "loudest": max,
    "mean": lambda levels: sum(levels) / len(levels),
}
"""Rules that take one value from the levels of all zones of the group."""


def _separate(draft: Draft, combining: CombiningSpec, zone: str) -> None:
    """A zone stands alone. What it had before is given back while that is its own still: see ``_kept_for``."""
    had = _kept_for(draft, combining, zone)
    for control, rule in combining.on_separate.items():
        if rule == "keep" or not treats(draft, zone, control):
            continue
        if rule != "restore":
            give(draft, combining, zone, control, rule)
        elif control in had:
            _give_quietly(draft, combining, zone, control, had[control])


def _kept_for(draft: Draft, combining: CombiningSpec, zone: str) -> Mapping[str, Value]:
    """What ``restore`` gives a zone: what it had in the booking that it still has, or a while ago; else, while no
    booking has it, its idle values. A zone in the midst of a booking that remembers nothing of it stays as it is.
    """
    had = draft.alone.get(zone)
    at, booking = draft.alone_since.get(zone, (None, None))
    same = booking is not None and draft.in_use.get(zone) == booking
    # Put down by a version that knew no age: it counts as it did then.
    if had is not None and (same or at is None or draft.now - at <= combining.restore_for):
        return had
    return {} if zone in draft.in_use else idle.values(draft, zone)


def quiet(spec: ControlSpec, control: str, now: Value, value: Value) -> Value:
    """``value``, or rather ``now``, what the control has or is on its way to, where ``value`` would be louder."""
    if is_mute(spec, control):
        return bool(now) or value
    if is_sound(spec) and isinstance(now, float) and isinstance(value, int | float):
        return min(now, value)
    return value


def is_mute(spec: ControlSpec, control: str) -> bool:
    """Whether a control is a switch that silences when on."""
    if not isinstance(spec, SwitchSpec):
        return False
    return (control == "mute" or control.endswith("-mute")) if spec.mutes is None else spec.mutes


def is_sound(spec: ControlSpec) -> bool:
    """Whether a control is a level that gets louder as it rises."""
    return isinstance(spec, LevelSpec) and (spec.unit == "dB" if spec.sound is None else spec.sound)


def treats(state: State, zone: str, control: str) -> bool:
    """Whether joining and parting do anything to a control: it is there, and no lock and not its scope keeps it."""
    spec = state.spec.zones[zone].controls.get(control)
    if spec is None or spec.scope == "local" or (zone, control) not in state.controls:
        return False
    return locks.covering(state, zone, control) is None


def give(
    draft: Draft, combining: CombiningSpec, zone: str, control: str, value: Value, named_at: str | None = None
) -> None:
    """Set a control as a regrouping does: levels over ``blend``, a choice only to what the zone offers."""
    if not treats(draft, zone, control):
        return
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


def _give_quietly(
    draft: Draft, combining: CombiningSpec, zone: str, control: str, value: Value, named_at: str | None = None
) -> None:
    spec = draft.spec.zones[zone].controls[control]
    if not orders.fits(spec, value):
        return
    now = orders.wanted_now(draft, zone, control)
    if quiet(spec, control, now, value) == value:
        give(draft, combining, zone, control, value, named_at=named_at)
