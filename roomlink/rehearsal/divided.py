"""What is said of open walls, links by hand across them, and the sound of what parts: held to the rules."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Protocol

from roomlink.core.bookings import OccurrenceKey
from roomlink.core.divisions import FENCE, Division
from roomlink.core.records import Link, Wall
from roomlink.core.spec import Value
from roomlink.core.state import State
from roomlink.rehearsal.adoption import louder
from roomlink.rehearsal.plan import Group, Key, Plan, wanted
from roomlink.rehearsal.rules import Broken
from roomlink.rehearsal.treatment import OF_GROUP

Finding = tuple[str, str]
"""(rule, what is so instead)"""


class Before(Protocol):
    """The tables as they were before an entry."""

    @property
    def groups(self) -> Mapping[str, Group]: ...
    @property
    def walls(self) -> Mapping[str, Wall]: ...
    @property
    def links(self) -> Mapping[tuple[str, str], Link]: ...
    @property
    def overflows(self) -> Mapping[str, tuple[str, ...]]: ...
    @property
    def divisions(self) -> Mapping[str, Division]: ...
    @property
    def in_use(self) -> Mapping[str, OccurrenceKey]: ...


def tied(walls: Mapping[str, Wall], divisions: Mapping[str, Division]) -> set[str]:
    """The walls that join their zones."""
    return {name for name, wall in walls.items() if wall.joins and name not in divisions}


def found(plan: Plan, before: Before, state: State) -> Iterator[Finding]:
    """What is not as it should be after walls, or what is said of them, changed."""
    for name in plan.walls:
        yield from _wall(plan, before, state, name)
    # What people combine, or join on purpose, is theirs to decide.
    by_hand = any(state.walls[w].joins and w not in state.divisions for w in before.divisions if w in state.walls)
    if not by_hand and before.overflows == state.overflows:
        yield from _bookings(before, state)
    if plan.combining is not None:
        yield from _hands(plan, before, state)


def _wall(plan: Plan, before: Before, state: State, name: str) -> Iterator[Finding]:
    """A wall that opens combines as configured; what people said of it stands until it closes."""
    wall, was, said = state.walls[name], before.walls.get(name), state.divisions.get(name)
    if said is not None and wall.position == "closed":
        yield "asked", f"{name} is closed, and still kept apart ({said.why})"
    if wall.joins and (was is None or not was.joins):
        asks = plan.spec.partitions[name].combine != "auto"
        if name in before.divisions:
            if said is None:
                yield "asked", f"{name} opens, and what was said of it is forgotten"
        elif asks and said is None:
            yield "asked", f"{name} opens, and combines unasked"
        elif not asks and said is not None and said.why != FENCE:
            yield "asked", f"{name} opens, and does not combine by itself ({said.why})"
    if said is not None and said.why == FENCE:
        alarm = state.alarms.get(f"fence/{name}")
        if alarm is None or not alarm.real:
            yield "fence", f"{name} is fenced, and no alarm says so"


def _bookings(before: Before, state: State) -> Iterator[Finding]:
    """Live bookings that were apart are not brought together by a wall alone."""
    for group in {group for zone, group in state.group_of.items() if before.groups.get(zone) != group}:
        clusters: list[set[OccurrenceKey]] = []
        for old in {before.groups.get(zone, (zone,)) for zone in group}:
            live = {before.in_use[zone] for zone in old if zone in before.in_use}
            if live:
                met = [one for one in clusters if one & live]
                clusters = [one for one in clusters if not one & live] + [live.union(*met)]
        if len(clusters) > 1:
            yield "fence", f"{' + '.join(group)} combine over {len(clusters)} live bookings"


def _hands(plan: Plan, before: Before, state: State) -> Iterator[Finding]:
    """Links by hand end with the wall between, unless their controller keeps them."""
    for (controller, zone), link in state.links.items():
        home = plan.homes[controller]
        if "hand" not in link.reasons or plan.spec.controllers[controller].hand_links_on_close == "keep":
            continue
        was = before.links.get((controller, zone))
        stood = was is not None and "hand" in was.reasons
        if stood and zone in before.groups.get(home, ()) and zone not in state.group_of[home]:
            yield "by hand", f"{controller} is still linked by hand to {zone}, and the wall between closed"


def check_quiet(
    plan: Plan,
    groups: Mapping[str, Group],
    state: State,
    base: Mapping[Key, Value],
    now: float,
) -> None:
    """What parts gets no louder, unless the configuration names the very value."""
    rules = plan.combining
    for key, spec in plan.controls.items():
        group, old = state.group_of[key[0]], groups.get(key[0], ())
        if rules is None or key not in base or not set(group) < set(old):
            continue
        rule = (rules.on_separate if len(group) == 1 else rules.on_combine).get(key[1], "keep")
        seen = wanted(state.controls[key], now, held=bool(state.held.get(key)))
        if rule in ("keep", "restore", "lead", *OF_GROUP) and louder(spec, key[1], base[key], seen):
            raise Broken("quiet", f"{key[1]} in {key[0]} goes from {base[key]} to {seen}")
