"""What must be so after every entry, worked out anew from the rules and not from the engine's code.

``Watch`` sees the tables before and after each entry and keeps a memory of its own. It raises ``Broken`` with the rule
that does not hold and a sentence about it. Times are stamps.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from roomlink.core.bookings import OccurrenceKey
from roomlink.core.divisions import Division
from roomlink.core.lock_records import Lock
from roomlink.core.records import Choice, Control, Hold, Level, Link, Momentary, Motion, Role, Wall
from roomlink.core.spec import LevelSpec, Spec, Value
from roomlink.core.state import State
from roomlink.core.travel_events import OneWay
from roomlink.limits import USED_EVERY_S
from roomlink.rehearsal import divided, evening_rules, hand_rules, travelling
from roomlink.rehearsal.adoption import adopted, idle_values
from roomlink.rehearsal.plan import Group, Plan, components, wanted
from roomlink.rehearsal.rules import NEAR as NEAR
from roomlink.rehearsal.rules import RULES as RULES
from roomlink.rehearsal.rules import Broken as Broken
from roomlink.rehearsal.rules import hold_to as hold_to
from roomlink.rehearsal.treatment import Wish, treated

NO_ROLE = Role()


@dataclass(slots=True)
class Before:
    """The tables as they were before an entry. Records never change, so the tables alone are copied."""

    controls: dict[tuple[str, str], Control]
    groups: dict[str, Group]
    walls: dict[str, Wall]
    links: dict[tuple[str, str], Link]
    roles: dict[str, Role]
    holds: dict[str, Hold]
    held: dict[tuple[str, str], tuple[str, ...]]
    overflows: dict[str, tuple[str, ...]]
    masks: dict[tuple[str, str], Any]
    overrides: dict[str, Any]
    one_ways: dict[str, OneWay]
    microphones: dict[str, str]
    divisions: dict[str, Division]
    used: dict[str, float]
    in_use: dict[str, OccurrenceKey]
    locks: dict[str, Lock]

    @classmethod
    def of(cls, state: State) -> Before:
        return cls(
            dict(state.controls), dict(state.group_of), dict(state.walls), dict(state.links), dict(state.roles),
            dict(state.holds), dict(state.held), dict(state.overflows), dict(state.masks), dict(state.overrides),
            dict(state.one_ways), dict(state.microphones),
            dict(state.divisions), dict(state.used), dict(state.in_use),
            dict(state.locks),
        )  # fmt: skip


@dataclass(slots=True)
class Watch:
    """Call ``look`` before the entry's events are applied and ``entry`` after; ``copy`` to follow a fork."""

    plan: Plan
    alone: dict[str, dict[str, Value]] = field(default_factory=dict)
    """Zone to what it had when it last stood alone, as this watch saw it."""
    alone_since: dict[str, tuple[float | None, OccurrenceKey | None]] = field(default_factory=dict)
    """Zone to when that was, and the booking that had it then."""
    used: dict[str, float] | None = None
    """Zone to when it was last used by hand, where that is known from outside; None: as the state says."""
    broke: dict[tuple[str, str], float] = field(default_factory=dict)
    """(zone, choice) to when what was on went off."""
    out: set[tuple[str, str]] = field(default_factory=set)
    """(controller, zone) unlinked by hand since the controller's group last changed."""
    open: set[str] | None = None
    """The walls that join their zones, where that is known from outside; None: as the state says."""
    expected: dict[str, tuple[float, bool]] = field(default_factory=dict)
    """Wall to the stamp from which its new position counts, and whether it is open then."""
    before: Before | None = None
    mixed: bool = False
    """Whether more than joining and parting sets values in this entry, so that the two cannot be told apart."""

    @classmethod
    def over(cls, spec: Spec) -> Watch:
        return cls(Plan.of(spec))

    def copy(self) -> Watch:
        open_now = None if self.open is None else set(self.open)
        used = None if self.used is None else dict(self.used)
        return Watch(
            self.plan, dict(self.alone), dict(self.alone_since), used, dict(self.broke), set(self.out), open_now,
            dict(self.expected), self.before,
        )  # fmt: skip

    def expect(self, wall: str, is_open: bool, at: float) -> None:
        """From outside: ``wall`` shall count as open or closed from the stamp ``at`` on, and not before."""
        self.expected[wall] = (at, is_open)

    def look(self, state: State) -> None:
        self.before = Before.of(state)

    def entry(self, state: State, now: float) -> None:
        """Hold one entry, just applied, to every rule. Raises ``Broken``."""
        before = self.before
        assert before is not None, "look before the entry"
        if state.spec is not self.plan.spec:
            # Another venue from now on: what was remembered of the old one means nothing in it.
            self.plan = Plan.of(state.spec)
            self.alone = {zone: dict(values) for zone, values in state.alone.items()}
            self.alone_since = dict(state.alone_since)
            before = Before.of(state)
        self._walls(state, now)
        moved = before.walls != state.walls or before.groups != state.group_of or before.overflows != state.overflows
        moved = moved or before.divisions != state.divisions
        if moved:
            _flags(self.plan, state, self._groups(state))
            for rule, text in divided.found(self.plan, before, state):
                raise Broken(rule, text)
        if moved or before.roles != state.roles or before.links != state.links or before.in_use != state.in_use:
            self._out(before, state)
            _roles(self.plan, state)
            _links(self.plan, state, self.out)
        changed = [key for key, record in state.controls.items() if before.controls.get(key) is not record]
        self._controls(before, state, changed, now)
        if before.locks and before.overrides == state.overrides:
            self._locks(before, state, now)
        if before.groups != state.group_of:
            self._regrouped(before, state, now)
        if before.groups != state.group_of or before.one_ways != state.one_ways:
            travelling.check_sources(self.plan, before.one_ways, before.groups, state, self.plan.travelling)
        travelling.check_overflows(state)
        travelling.check_microphones(self.plan, before.groups, before.microphones, state, changed)
        if before.held != state.held or before.links != state.links or before.roles != state.roles or moved:
            _held(self.plan, state)
        if state.overrides or before.overrides:
            _overridden(self.plan, state)
        evening_rules.check(state, now)

    def _locks(self, before: Before, state: State, now: float) -> None:
        """What would cross a closed wall, and a microphone that is heard no more, are dropped all the same."""
        found = hand_rules.changed_beneath(before.controls, before.locks, state, now)
        if found is not None:
            (zone, control), record = found
            dropped = (zone, control) in self.plan.travelling or control in self.plan.spec.travel.mutes
            hold_to("lock", dropped, f"{control} in {zone} is locked, and is set by {record.by}")

    def _walls(self, state: State, now: float) -> None:
        if self.open is None:
            return
        for wall, (at, is_open) in list(self.expected.items()):
            if now >= at - NEAR:
                (self.open.add if is_open else self.open.discard)(wall)
                del self.expected[wall]
        for wall, record in state.walls.items():
            if record.joins != (wall in self.open):
                raise Broken("settle", f"{wall} counts as {'open' if record.joins else 'closed'}")

    def _groups(self, state: State) -> dict[str, Group]:
        tied = divided.tied(state.walls, state.divisions)
        opened = tied if self.open is None else self.open - state.divisions.keys()
        found = components(self.plan, opened, state.overflows.values())
        for zone, group in found.items():
            if (seen := state.group_of.get(zone)) != group:
                raise Broken("groups", f"{zone} is grouped as {_list(seen or ())}, but {_list(group)} connect")
        return found

    def _out(self, before: Before, state: State) -> None:
        for controller, home in self.plan.homes.items():
            if before.groups.get(home) != state.group_of.get(home):
                self.out = {key for key in self.out if key[0] != controller}
        for key in before.links:
            home = self.plan.homes.get(key[0], "")
            was, is_so = _combined(before.links.get(key)), _combined(state.links.get(key))
            if was and not is_so and before.groups.get(home) == state.group_of.get(home):
                self.out.add(key)
        self.out = {key for key in self.out if not _combined(state.links.get(key))}

    def _controls(self, before: Before, state: State, changed: list[tuple[str, str]], now: float) -> None:
        for key in changed:
            record, old = state.controls[key], before.controls.get(key)
            spec = self.plan.controls[key]
            if type(record) is Level:
                assert isinstance(spec, LevelSpec)
                for value in (record.origin, record.to):
                    # A device that was turned by hand is taken as it is, and may stay so: a ceiling is for orders.
                    top = spec.hi if record.by in self.plan.reporters else spec.top
                    top = max(top, min(spec.hi, old.at(now))) if isinstance(old, Level) else top
                    at = f"{_named(key)} goes to {value:g} {spec.unit}, outside {spec.lo:g} to {top:g}"
                    hold_to("range", spec.lo - NEAR <= value <= top + NEAR, at)
            elif type(record) is Choice:
                self._gap(key, old if isinstance(old, Choice) else None, record, now)
        moved = [key for key in changed if key in self.plan.travelling]
        travelling.check_sources(self.plan, before.one_ways, before.groups, state, moved)

    def _gap(self, key: tuple[str, str], old: Choice | None, new: Choice, now: float) -> None:
        gap = self.plan.gaps[key]
        if old is None or old.value == new.value or gap <= 0.0 or new.by in self.plan.reporters:
            return
        if new.value is None:
            self.broke[key] = now
            return
        hold_to("gap", old.value is None, f"{_named(key)} goes from {old.value} to {new.value} without a break")
        passed = now - self.broke.get(key, float("-inf"))
        hold_to("gap", passed >= gap - NEAR, f"{_named(key)} makes {new.value} {passed:.3f} s after the break")

    def _regrouped(self, before: Before, state: State, now: float) -> None:
        """What joining and parting did to the values; told apart only where one wall alone did it."""
        causes = len(divided.tied(before.walls, before.divisions) ^ divided.tied(state.walls, state.divisions))
        causes += before.overflows != state.overflows
        base = {key: wanted(record, now, held=bool(before.held.get(key))) for key, record in before.controls.items()}
        single = causes == 1 and not self.mixed and before.overrides.keys() == state.overrides.keys()
        blend = self.plan.combining.blend if self.plan.combining else 0.0
        for key, old in before.controls.items():
            new = state.controls.get(key)
            if isinstance(old, Level) and isinstance(new, Level) and (blend > 0.0 or self.plan.local[key]):
                if new is old or self.mixed:
                    continue
                was, is_now = old.at(now), new.at(now)
                hold_to("jump", abs(was - is_now) <= NEAR, f"{_named(key)} jumps from {was:g} to {is_now:g}")
                late = (new.arrival or now) - now > blend + NEAR and new.to != old.to
                hold_to("combine", not late, f"{_named(key)} takes longer than the blend of {blend:g} s")
        for zone, key_of in self.plan.keys_of.items():
            group, old_group = state.group_of[zone], before.groups.get(zone, (zone,))
            if group == old_group:
                continue
            memory = {control: base[key] for control, key in key_of.items()}
            if len(old_group) == 1:
                self.alone[zone], self.alone_since[zone] = memory, (now, before.in_use.get(zone))
        if not self.mixed:
            divided.check_quiet(self.plan, before.groups, state, base, now)
        if single:
            self._treatments(before, state, base, now)

    def _wishes(
        self,
        before: Before,
        state: State,
        now: float,
        group: Group,
        olds: set[Group],
        base: dict[tuple[str, str], Value],
    ) -> dict[tuple[str, str], Wish]:
        def near(key: tuple[str, str]) -> set[str]:
            return travelling.near(self.plan, state, key)

        used = before.used if self.used is None else self.used
        old_of = {zone: before.groups.get(zone, (zone,)) for zone in group}
        chosen = adopted(self.plan, group, old_of, used, before.in_use, state.absent) if len(olds) > 1 else None
        kept = self._kept(before, state, group[0], now) if len(group) == 1 else {}
        led = hand_rules.led(self.plan, before.roles, next(iter(olds))), hand_rules.led(self.plan, state.roles, group)
        wishes = treated(self.plan, group, olds, base, kept, chosen, near, led, before.in_use)
        return wishes | travelling.muted(self.plan, group, olds, state)

    def _treatments(self, before: Before, state: State, base: dict[tuple[str, str], Value], now: float) -> None:
        changed = {g: None for z, g in state.group_of.items() if before.groups.get(z) != g and z in self.plan.keys_of}
        for group in changed:
            olds = {before.groups.get(zone, (zone,)) for zone in group}
            if any(lock.zone in group for lock in (*before.locks.values(), *state.locks.values())):
                continue  # what is locked takes no part, and so the others get something else
            for key, (rule, value) in self._wishes(before, state, now, group, olds, base).items():
                record = state.controls[key]
                if isinstance(record, Momentary | Motion):
                    continue
                seen = wanted(record, now, held=bool(state.held.get(key)))
                text = f"{_named(key)} is to be {said(value)} in {_list(group)}, and goes to {said(seen)}"
                hold_to(rule, same(seen, value), text)

    def _kept(self, before: Before, state: State, zone: str, now: float) -> Mapping[str, Value]:
        """What a zone that stands alone gets back."""
        had = self.alone.get(zone)
        at, booking = self.alone_since.get(zone, (None, None))
        fresh = at is None or (self.plan.combining is not None and now - at <= self.plan.combining.restore_for)
        if had is not None and (fresh or (booking is not None and before.in_use.get(zone) == booking)):
            return had
        return {} if zone in before.in_use else idle_values(self.plan, zone, state.scenes)

    def note_use(self, zones: Iterable[str], now: float) -> None:
        """From outside: a hand used ``zones``. What is used more than once in a second counts once."""
        assert self.used is not None
        spec, joins = self.plan.spec, self.plan.combining is not None
        for zone in zones:
            last = self.used.get(zone)
            asked_for = (joins and spec.walls_of[zone]) or zone in spec.watched
            if asked_for and (last is None or now - last >= USED_EVERY_S):
                self.used[zone] = now


def same(a: Value, b: Value) -> bool:
    """Whether two values of one control are the same, but for rounding."""
    if isinstance(a, float | int) and isinstance(b, float | int) and not isinstance(a, bool):
        return abs(a - b) <= NEAR
    return a == b


def said(value: Value) -> str:
    """A value in words."""
    if isinstance(value, bool):
        return "on" if value else "off"
    return "none" if value is None else value if isinstance(value, str) else f"{value:g}"


def _combined(link: Link | None) -> bool:
    return link is not None and "combining" in link.reasons


def _named(key: tuple[str, str]) -> str:
    return f"{key[1]} in {key[0]}"


def _list(zones: tuple[str, ...]) -> str:
    return " + ".join(zones) or "nothing"


def _flags(plan: Plan, state: State, groups: dict[str, Group]) -> None:
    for wall, (a, b) in plan.walls.items():
        record = state.walls[wall]
        flagged = not (record.joins and wall not in state.divisions) and groups[a] == groups[b]
        if record.flagged != flagged:
            raise Broken("flags", f"{wall} is {'' if record.flagged else 'not '}flagged")


def _roles(plan: Plan, state: State) -> None:
    if plan.combining is None:
        return
    leads = {group: hand_rules.lead(plan, state, group) for group in set(state.group_of.values())}
    for controller, home in plan.homes.items():
        group = state.group_of[home]
        lead = leads[group]
        role = state.roles.get(controller, NO_ROLE)
        if role.lead != (lead == controller):
            raise Broken("lead", f"{controller} does {'' if role.lead else 'not '}lead {_list(group)}")
        locks = plan.combining.others == "lock" and len(group) > 1
        by = hand_rules.locked_by(plan, state, group, controller, lead) if locks else None
        if role.locked != by:
            raise Broken("lead", f"{controller} is locked by {role.locked}, not by {by}")


def _links(plan: Plan, state: State, out: set[tuple[str, str]]) -> None:
    for controller, zones in state.linked.items():
        for zone in zones:
            if (controller, zone) not in state.links or controller not in state.linked_by.get(zone, ()):
                raise Broken("links", f"{controller} and {zone} do not agree that they are linked")
    if plan.combining is None:
        return
    by_combining: dict[str, set[str]] = {}
    for (controller, zone), link in state.links.items():
        if "combining" in link.reasons:
            by_combining.setdefault(controller, set()).add(zone)
    leads = {group: hand_rules.lead(plan, state, group) for group in set(state.group_of.values())}
    for controller, home in plan.homes.items():
        group = state.group_of[home]
        lead = leads[group]
        follows = lead == controller or (plan.combining.others == "mirror" and lead is not None)
        wished = set(group) if len(group) > 1 and follows else set()
        seen = by_combining.get(controller, set())
        if not seen <= wished or any((controller, zone) not in out for zone in wished - seen):
            rather = f"{_list(tuple(sorted(seen)))}, not {_list(tuple(sorted(wished)))}"
            raise Broken("links", f"{controller} is linked by combining to {rather}")


def _held(plan: Plan, state: State) -> None:
    for name, hold in state.holds.items():
        hold_to("held", hold.zones, f"{name} holds nothing and stands")
        for zone in hold.zones:
            hold_to("held", name in state.held.get((zone, hold.control), ()), f"{name} is not known in {zone}")
            linked = hold.controller is None or (hold.controller, zone) in state.links
            hold_to("held", linked, f"{hold.controller} holds {hold.control} in {zone} without a link")
        role = state.roles.get(hold.controller or "")
        hold_to("held", role is None or role.locked is None, f"{hold.controller} is locked and holds {hold.control}")
    for key, names in state.held.items():
        hold_to("held", all(name in state.holds for name in names), f"{_named(key)} is held by nobody that holds")
    for key in plan.momentaries:
        record = state.controls[key]
        is_on = isinstance(record, Momentary) and record.value
        if is_on != bool(state.held.get(key)):
            raise Broken("held", f"{_named(key)} is {said(is_on)}, against who holds it")


def _overridden(plan: Plan, state: State) -> None:
    rank = {"life-safety": 0, "lockout": 1}
    standing = sorted((o for o in state.overrides if o in plan.overrides), key=lambda o: rank[plan.overrides[o].kind])
    for key in plan.controls:
        zone, control = key
        over = [plan.overrides[o] for o in standing if zone in (plan.overrides[o].zones or plan.keys_of)]
        found = next((o.values[control] for o in over if control in o.values), None)
        mask = state.masks.get(key)
        if (mask.value if mask else None) != found:
            raise Broken("override", f"{_named(key)} is masked as {said(mask.value) if mask else 'nothing'}")
        if over:
            record = state.controls[key]
            moves = isinstance(record, Motion) and (record.running is not None or record.pending is not None)
            if moves or state.held.get(key):
                raise Broken("override", f"{_named(key)} {'moves' if moves else 'is held'}")
