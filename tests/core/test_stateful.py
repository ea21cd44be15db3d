"""Random evenings against a slow and obvious model, written from the rules and not from the code.

The model keeps walls, hand links, presses and memories of its own, and works everything else out from first principles
after every single entry. The driver proves beside it that deciding changes nothing, that refusals decide nothing, and
that snapshots and replays give the same state.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from roomlink.core.commands import SERVICE, Command, LetGo
from roomlink.core.decide import Decision, Request
from roomlink.core.records import Choice, Hold, Level, Momentary, Switch
from roomlink.errors import Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PHONE, PLAIN, Driver

ZONES = "abcd"
GAP_S, MIN_ON_S, SETTLE_S, TOLERANCE = 0.5, 2.0, 1.0, 0.5
OPTIONS = ("lectern", "laptop")
CONTROLS = {
    "program": venues.choice(*OPTIONS, gap=GAP_S, sources=True),
    "display": venues.choice(*OPTIONS),
    "volume": venues.level(tolerance=TOLERANCE),
    "lamp": venues.switch(min_on=MIN_ON_S),
    "talkback": venues.momentary(),
}
PANELS = {
    "a-panel": {"home": "a", "feedback": "mismatch-flag"},
    "b-panel": {"home": "b", "feedback": "majority", "on_link": "carry"},
    "c-panel": {"home": "c", "feedback": "last-linked", "level_mode": "offset"},
    "d-panel": {"home": "d", "feedback": "majority", "on_link": "pickup", "level_mode": "offset"},
}
LEAD_ORDER = ["b-panel", "a-panel", "d-panel"]
"""``c-panel`` never leads."""
WALLS = {"a-b": ("a", "b"), "b-c": ("b", "c"), "c-d": ("c", "d"), "a-d": ("a", "d")}
TAKEN_AS_CLOSED = {"b-c", "c-d"}
"""Walls whose unknown counts as closed; the others hold."""


def hall(others: str) -> dict[str, Any]:
    combining = {
        "lead_order": LEAD_ORDER,
        "others": others,
        "blend": 1.0,
        "restore_for": 1e9,
        "on_combine": {"volume": "quietest", "display": "lead"},
        "on_separate": {"volume": "restore"},
    }
    data = venues.ring(4, controls=CONTROLS, controllers=PANELS, combining=combining, wall={"settle": SETTLE_S})
    for name in TAKEN_AS_CLOSED:
        data["partitions"][name]["on_unknown"] = "closed"
    return data


@dataclass
class ModelWall:
    """What is known of a wall, by the rules."""

    unknown_is_closed: bool
    joins: bool = False
    sensed: str = "unknown"
    waiting: tuple[str, float] | None = None
    pinned_until: float | None = None

    def count(self, position: str) -> None:
        if position in ("open", "closed"):
            self.joins = position == "open"
        elif position == "unknown" and self.unknown_is_closed:
            self.joins = False

    def report(self, position: str, now: float) -> None:
        if self.waiting is not None and self.waiting[0] == position:
            return
        self.waiting = None if position == self.sensed else (position, now + SETTLE_S)

    def pin(self, position: str, until: float) -> None:
        self.pinned_until = until
        self.count(position)

    def unpin(self) -> None:
        if self.pinned_until is not None:
            self.pinned_until = None
            self.count(self.sensed)

    def pass_time(self, now: float) -> None:
        if self.pinned_until is not None and self.pinned_until <= now:
            self.unpin()
        if self.waiting is not None and self.waiting[1] <= now:
            self.sensed, self.waiting = self.waiting[0], None
            if self.pinned_until is None:
                self.count(self.sensed)


@dataclass
class Model:
    """The venue as a person would keep it on paper."""

    others: str
    walls: dict[str, ModelWall] = field(
        default_factory=lambda: {name: ModelWall(name in TAKEN_AS_CLOSED) for name in WALLS}
    )
    overflows: dict[str, set[str]] = field(default_factory=dict)
    groups: list[frozenset[str]] = field(default_factory=lambda: [frozenset(z) for z in ZONES])
    by_hand: set[tuple[str, str]] = field(default_factory=set)
    stay_out: set[tuple[str, str]] = field(default_factory=set)
    """Unlinked by hand since the last regrouping, or mirrors a lead that was."""
    presses: dict[tuple[str, str], tuple[set[str], float | None]] = field(default_factory=dict)
    """(holder, surface) to the zones held and until when."""
    alone: dict[str, float] = field(default_factory=dict)

    def found_groups(self) -> list[frozenset[str]]:
        """By walking through open walls and overflows from each zone."""
        groups = []
        for zone in ZONES:
            group, before = {zone}, 0
            while len(group) != before:
                before = len(group)
                for name, ends in WALLS.items():
                    if self.walls[name].joins and group & set(ends):
                        group |= set(ends)
                for joined in self.overflows.values():
                    if group & joined:
                        group |= joined
            if min(group) == zone:
                groups.append(frozenset(group))
        return groups

    def group(self, zone: str) -> frozenset[str]:
        return next(g for g in self.groups if zone in g)

    def end_links_by_hand(self, group: frozenset[str], old: list[frozenset[str]]) -> None:
        """Of panels at home in ``group``, to zones that were one room with it and are no longer."""
        for controller, zone in list(self.by_hand):
            home = PANELS[controller]["home"]
            if home in group and zone not in group and any({home, zone} <= one for one in old):
                self.by_hand.discard((controller, zone))

    def lead(self, group: frozenset[str]) -> str | None:
        return next((c for c in LEAD_ORDER if PANELS[c]["home"] in group), None)

    def locked(self, controller: str) -> bool:
        group = self.group(PANELS[controller]["home"])
        lead = self.lead(group)
        return self.others == "lock" and len(group) > 1 and lead not in (None, controller)

    def mirrors(self, controller: str, zone: str) -> set[str]:
        """The panels that follow when ``controller`` is linked to or unlinked from ``zone`` by hand."""
        group = self.group(PANELS[controller]["home"])
        if self.others != "mirror" or len(group) == 1 or zone not in group or self.lead(group) != controller:
            return set()
        return {c for c, spec in PANELS.items() if spec["home"] in group and c != controller}

    def links_by_combining(self, controller: str) -> set[str]:
        group = self.group(PANELS[controller]["home"])
        lead = self.lead(group)
        follows = controller == lead or (self.others == "mirror" and lead is not None)
        if len(group) == 1 or not follows:
            return set()
        return {zone for zone in group if (controller, zone) not in self.stay_out}


class Watched(Driver):
    """Tells the machine before and after every entry, those of the clock included."""

    watcher: Evening | None = None

    def _decide(self, command: Command, request: Request | None) -> Decision:
        if self.watcher is None:
            return super()._decide(command, request)
        before = self.watcher.look()
        decision = super()._decide(command, request)
        self.watcher.compare(before)
        return decision


@dataclass
class Look:
    """What there was to see before an entry."""

    levels: dict[str, float]
    wanted: dict[str, float]
    on: dict[tuple[str, str], str | None]
    lamps: dict[str, bool]


surfaces = st.sampled_from([*PANELS, *ZONES])
panels = st.sampled_from(sorted(PANELS))
zones = st.sampled_from(ZONES)
levels = st.integers(-120, 0).map(lambda half: half / 2)
holders = st.sampled_from([FINGER, PHONE, PLAIN])
quarters = st.integers(0, 24).map(lambda quarter: quarter / 4)


class Evening(RuleBasedStateMachine):
    """One random evening in a ring of four zones."""

    @initialize(others=st.sampled_from(["own", "mirror", "lock"]))
    def open_the_house(self, others: str) -> None:
        self.driver = Watched(hall(others))
        self.model = Model(others)
        self.jumps = False
        self.ties: set[tuple[str, Any]] = set()
        self.turned_off: dict[tuple[str, str], float] = {}
        self.lamp_since: dict[str, float] = {}
        self.driver.watcher = self

    # What is checked around every entry

    def record(self, zone: str, control: str) -> Any:
        return self.driver.state.controls[zone, control]

    def look(self) -> Look:
        now, state = self.driver.now, self.driver.state
        rising = {zone for zone in ZONES if state.held.get((zone, "volume"))}
        levels_now = {zone: self.record(zone, "volume").at(now) for zone in ZONES}
        return Look(
            levels_now,
            {zone: levels_now[zone] if zone in rising else self.record(zone, "volume").to for zone in ZONES},
            {(zone, c): self.record(zone, c).value for zone in ZONES for c in ("program", "display")},
            {zone: self.record(zone, "lamp").value for zone in ZONES},
        )

    def compare(self, before: Look) -> None:
        now = self.driver.now
        for wall in self.model.walls.values():
            wall.pass_time(now)
        self.compare_groups(before)
        self.compare_presses()
        for zone in ZONES:
            if not self.jumps:
                assert self.record(zone, "volume").at(now) == before.levels[zone], f"the level of {zone} jumped"
            was, lamp = before.lamps[zone], self.record(zone, "lamp").value
            if was != lamp:
                assert lamp or now - self.lamp_since[zone] >= MIN_ON_S, f"the lamp of {zone} went off too soon"
                self.lamp_since[zone] = now
        for key, option in before.on.items():
            self.compare_choice(key, option, self.driver.state.controls[key])

    def compare_choice(self, key: tuple[str, str], before: str | None, record: Any) -> None:
        """At most one option is on; a change breaks, waits for the gap, and makes."""
        assert record.value is None or record.pending is None
        gap = GAP_S if key[1] == "program" else 0.0
        if before is not None and record.value != before:
            assert record.value is None or gap == 0.0, f"{key} made without a break"
            self.turned_off[key] = self.driver.now
        if before is None and record.value is not None and key in self.turned_off:
            assert self.driver.now - self.turned_off[key] >= gap, f"{key} made before the gap was over"

    def compare_groups(self, before: Look) -> None:
        model, old = self.model, self.model.groups
        ties, self.ties = (
            self.ties,
            {(n, w.joins) for n, w in model.walls.items() if w.joins}
            | {(n, zone) for n, joined in model.overflows.items() for zone in joined},
        )
        model.groups = model.found_groups()
        for group in model.groups:
            if group in old:
                continue
            model.end_links_by_hand(group, old)
            model.stay_out = {(c, z) for c, z in model.stay_out if PANELS[c]["home"] not in group}
            for zone in group:
                was_alone = frozenset(zone) in old
                if was_alone and len(group) > 1:
                    model.alone[zone] = before.wanted[zone]
                if not was_alone and len(group) == 1:
                    # What parts gets no louder, whatever it had before.
                    due = min(model.alone[zone], before.wanted[zone])
                    assert self.record(zone, "volume").to == due, f"{zone} was not restored"
            if len({next(o for o in old if zone in o) for zone in group}) > 1:
                volumes = {self.record(zone, "volume").to for zone in group}
                assert len(volumes) == 1, f"{group} differ in volume"
                if ties <= self.ties:
                    # Nothing parted in the same entry, so nothing was restored on the way.
                    assert volumes == {min(before.wanted[zone] for zone in group)}, f"{group} is not the quietest"

    def compare_presses(self) -> None:
        """A press ends where its link ends, where its panel is locked, and when its time is over."""
        presses = self.model.presses
        for (holder, surface), (held, until) in list(presses.items()):
            if surface in PANELS:
                held &= set(self.driver.linked(surface))
            if (until is not None and until <= self.driver.now) or (surface in PANELS and self.model.locked(surface)):
                held.clear()
            if not held:
                del presses[holder, surface]
        for zone in ZONES:
            held_now = any(zone in held for held, _ in presses.values())
            assert self.record(zone, "talkback") == Momentary(held_now, self.record(zone, "talkback").by)

    # What people do

    def through(self, surface: str, do: Any, *, jumps: bool = False) -> bool:
        """Do it; a refusal must have a reason that the model knows."""
        self.driver.wake()
        self.jumps = jumps
        try:
            do()
        except Refused as refusal:
            self.check_refusal(surface, refusal.kind)
            return False
        finally:
            self.jumps = False
        return True

    def check_refusal(self, surface: str, kind: str) -> None:
        assert surface in PANELS
        reasons = {
            "locked": self.model.locked(surface),
            "nothing-linked": self.driver.linked(surface) == [],
            "undecided": True,
        }
        assert reasons[kind], f"{surface} was refused as {kind}"

    @rule(controller=panels, zone=zones)
    def link(self, controller: str, zone: str) -> None:
        self.driver.wake()
        anew = zone not in self.driver.linked(controller)
        if self.through(controller, lambda: self.driver.link(controller, zone)):
            self.model.by_hand.add((controller, zone))
            if anew:
                self.model.stay_out -= {(c, zone) for c in self.model.mirrors(controller, zone)}
            assert self.driver.linked(controller)[-1] == zone

    @rule(controller=panels, zone=zones | st.none())
    def unlink(self, controller: str, zone: str | None) -> None:
        self.driver.wake()
        for gone in [zone] if zone else ZONES:
            self.model.by_hand.discard((controller, gone))
            self.model.stay_out.add((controller, gone))
            if gone in self.driver.linked(controller):
                self.model.stay_out |= {(c, gone) for c in self.model.mirrors(controller, gone)}
        if self.through(controller, lambda: self.driver.unlink(controller, zone)):
            assert zone not in self.driver.linked(controller)

    @rule(surface=surfaces, value=levels, over=st.sampled_from([0.0, 0.0, 0.5, 3.0]), holder=holders)
    def set_level(self, surface: str, value: float, over: float, holder: Any) -> None:
        target = lambda: self.driver.set(surface, "volume", value, over=over, by=holder)  # noqa: E731  # one short call
        self.through(surface, target, jumps=over == 0.0)

    @rule(surface=surfaces, control=st.sampled_from(["program", "display"]), value=st.sampled_from([*OPTIONS, None]))
    def choose(self, surface: str, control: str, value: str | None) -> None:
        if self.through(surface, lambda: self.driver.set(surface, control, value)) and surface in ZONES:
            record = self.record(surface, control)
            assert value in (record.value, record.pending)

    @rule(zone=zones, data=st.data())
    def choose_any_source(self, zone: str, data: st.DataObject) -> None:
        offered = data.draw(st.sampled_from(self.driver.control(zone, "program")["options"]))
        self.through(zone, lambda: self.driver.set(zone, "program", offered))

    @rule(surface=surfaces, value=st.booleans())
    def switch(self, surface: str, value: bool) -> None:
        self.through(surface, lambda: self.driver.set(surface, "lamp", value))

    @rule(controller=panels, control=st.sampled_from(["program", "display", "volume", "lamp"]))
    def align(self, controller: str, control: str) -> None:
        """To the value shown: afterwards nothing is mixed."""
        if self.through(controller, lambda: self.driver.align(controller, control), jumps=True) and control != "lamp":
            assert not self.driver.shown(controller, control)["mixed"]

    @rule(surface=surfaces, do=st.sampled_from(["raise", "lower"]), holder=holders)
    def hold(self, surface: str, do: str, holder: Any) -> None:
        for_s = 1.5 if holder is PLAIN else None
        self.through(surface, lambda: self.driver.act(surface, "volume", do, by=holder, for_s=for_s))

    @rule(surface=surfaces, holder=holders)
    def stop(self, surface: str, holder: Any) -> None:
        self.through(surface, lambda: self.driver.act(surface, "volume", "stop", by=holder))

    @rule(surface=surfaces, holder=holders)
    def press(self, surface: str, holder: Any) -> None:
        for_s = 1.5 if holder is PLAIN else None
        self.driver.wake()
        reached = set(self.driver.linked(surface)) if surface in PANELS else {surface}
        key = (holder.holder or holder.via, surface)
        before = self.model.presses.get(key)
        until = None if for_s is None else self.driver.now + for_s
        if reached and not (surface in PANELS and self.model.locked(surface)):
            self.model.presses[key] = (reached, until)
        if not self.through(surface, lambda: self.driver.act(surface, "talkback", "press", by=holder, for_s=for_s)):
            assert self.model.presses.get(key) == before

    @rule(surface=surfaces, holder=holders)
    def release(self, surface: str, holder: Any) -> None:
        self.driver.wake()
        self.model.presses.pop((holder.holder or holder.via, surface), None)
        self.through(surface, lambda: self.driver.act(surface, "talkback", "release", by=holder))

    @rule(holder=st.sampled_from([FINGER, PHONE]))
    def fall_silent(self, holder: Any) -> None:
        self.driver.wake()
        self.model.presses = {key: press for key, press in self.model.presses.items() if key[0] != holder.holder}
        self.driver.do(LetGo(SERVICE, holder.holder, self.driver.now, "no sign of life"))
        assert holder.holder not in {hold.holder for hold in self.driver.state.holds.values()}

    @rule(
        wall=st.sampled_from(sorted(WALLS)), position=st.sampled_from(["open", "closed", "open", "moving", "unknown"])
    )
    def report(self, wall: str, position: str) -> None:
        self.driver.wake()
        self.model.walls[wall].report(position, self.driver.now)
        self.driver.wall(wall, position)

    @rule(
        wall=st.sampled_from(sorted(WALLS)),
        position=st.sampled_from(["open", "closed"]),
        pin=st.integers(1, 8),
        sensor=st.sampled_from([None, "open", "closed"]),
    )
    def pin(self, wall: str, position: str, pin: int, sensor: str | None) -> None:
        """A person pins a wall, and its sensor may say otherwise."""
        self.driver.wake()
        self.model.walls[wall].pin(position, self.driver.now + pin)
        self.driver.wall(wall, position, pin=pin)
        if sensor is not None:
            self.report(wall, sensor)
            self.driver.advance(SETTLE_S)

    @rule(wall=st.sampled_from(sorted(WALLS)))
    def unpin(self, wall: str) -> None:
        self.driver.wake()
        self.model.walls[wall].unpin()
        self.driver.wall(wall, None, pin=0.0)

    @rule(name=st.sampled_from(["gala", "fair"]), joined=st.sets(zones, min_size=2) | st.just(set()))
    def overflow(self, name: str, joined: set[str]) -> None:
        self.driver.wake()
        self.model.overflows[name] = set(joined)
        self.driver.join(name, *sorted(joined))

    @rule(seconds=quarters)
    def wait(self, seconds: float) -> None:
        self.driver.advance(seconds)

    @rule()
    def restart(self) -> None:
        self.driver.wake()
        self.model.presses.clear()
        self.driver.restart()
        assert self.driver.state.holds == {}

    @rule()
    def reload(self) -> None:
        """The same configuration again changes nothing but its own event."""
        self.driver.wake()
        assert len(self.driver.configure(hall(self.model.others)).events) == 1

    # What is always so

    @invariant()
    def groups_are_what_one_can_walk(self) -> None:
        assert {frozenset(g) for g in self.driver.groups()} == set(self.model.found_groups())
        for name, (a, b) in WALLS.items():
            wall = self.driver.state.walls[name]
            assert wall.joins == self.model.walls[name].joins
            assert wall.flagged == (not wall.joins and self.model.group(a) == self.model.group(b))

    @invariant()
    def leads_locks_and_links_are_as_the_groups_say(self) -> None:
        state = self.driver.state
        for controller, spec in PANELS.items():
            role = state.roles.get(controller)
            lead = self.model.lead(self.model.group(spec["home"]))
            assert (role is not None and role.lead) == (lead == controller)
            assert (role is not None and role.locked is not None) == self.model.locked(controller)
            links = {z: self.driver.reasons(controller, z) for z in ZONES}
            assert {z for z in ZONES if "combining" in links[z]} == self.model.links_by_combining(controller)
            assert {z for z in ZONES if "hand" in links[z]} == {z for c, z in self.model.by_hand if c == controller}
            assert sorted(self.driver.linked(controller)) == [z for z in ZONES if links[z]]
            assert all((controller in state.linked_by.get(z, ())) == bool(links[z]) for z in ZONES)

    @invariant()
    def no_source_crosses_a_closed_wall(self) -> None:
        for zone in ZONES:
            for option in (self.record(zone, "program").value, self.record(zone, "program").pending):
                assert option is None or "/" not in option or option[0] in self.model.group(zone)

    @invariant()
    def nothing_is_held_without_a_holder(self) -> None:
        state = self.driver.state
        standing: Counter[tuple[str, str, str]] = Counter()
        for name, hold in state.holds.items():
            assert isinstance(hold, Hold)
            assert hold.zones
            assert hold.until is None or hold.until > self.driver.now
            for zone in hold.zones:
                standing[zone, hold.control, name] += 1
                assert hold.controller is None or zone in self.driver.linked(hold.controller)
            assert hold.controller is None or not self.model.locked(hold.controller)
        assert standing == Counter((*key, name) for key, names in state.held.items() for name in names)
        for zone in ZONES:
            assert len(state.held.get((zone, "volume"), ())) <= 1

    @invariant()
    def every_level_is_in_its_range(self) -> None:
        for zone in ZONES:
            record = self.record(zone, "volume")
            assert isinstance(record, Level)
            assert -60.0 <= record.at(self.driver.now) <= 0.0
            assert -60.0 <= record.to <= 0.0

    @invariant()
    def feedback_is_what_the_linked_zones_say(self) -> None:
        for controller, spec in PANELS.items():
            linked = self.driver.linked(controller)
            for control in CONTROLS:
                seen = self.driver.shown(controller, control)
                votes = [(zone, self.vote(controller, zone, control)) for zone in linked]
                expected = (level_feedback if control == "volume" else state_feedback)(spec["feedback"], votes)
                if control == "volume" and expected[0] is not None:
                    expected = (round(expected[0], 4), *expected[1:])
                assert (seen["value"], seen["decided"], seen["mixed"], seen["outliers"]) == expected, (
                    controller,
                    control,
                )

    def vote(self, controller: str, zone: str, control: str) -> Any:
        record = self.record(zone, control)
        if isinstance(record, Level):
            return record.at(self.driver.now)
        if isinstance(record, Switch | Momentary):
            return record.value
        assert isinstance(record, Choice)
        option = record.pending or record.value
        home = PANELS[controller]["home"]
        if option is None or control == "display":
            return option
        # A source has a place; only zones apart from the panel's group are heard by their own name for it.
        place, bare = option.split("/") if "/" in option else (zone, option)
        apart = self.model.group(zone) != self.model.group(home)
        return bare if place == home or (apart and place == zone) else f"{place}/{bare}"


def state_feedback(policy: str, votes: list[tuple[str, Any]]) -> tuple[Any, bool, bool, list[str]]:
    """Value, decided, mixed, outliers: by counting."""
    values = [value for _, value in votes]
    if not values:
        return None, False, False, []
    shown = {
        "mismatch-flag": [v for v in values if values.count(v) == len(values)],
        "majority": [v for v in values if values.count(v) > len(values) / 2],
        "last-linked": values[-1:],
    }[policy]
    value = shown[0] if shown else None
    outliers = [zone for zone, v in votes if not shown or v != value]
    return value, bool(shown), len(set(values)) > 1, outliers


def level_feedback(policy: str, votes: list[tuple[str, float]]) -> tuple[Any, bool, bool, list[str]]:
    """The same for levels, with the tolerance and a hair for binary rounding."""
    values = [value for _, value in votes]
    if not values:
        return None, False, False, []
    near = TOLERANCE + 1e-9
    agree = max(values) - min(values) <= near
    most = sum(abs(v - median(values)) <= near for v in values) > len(values) / 2
    shown = {
        "mismatch-flag": median(values) if agree else None,
        "majority": median(values) if most else None,
        "last-linked": values[-1],
    }[policy]
    outliers = [zone for zone, v in votes if shown is None or abs(v - shown) > near]
    return shown, shown is not None, not agree, outliers


TestEvening = Evening.TestCase
TestEvening.settings = settings(
    max_examples=60,
    stateful_step_count=40,
    derandomize=True,
    deadline=None,
    database=None,
    # Each step restores a snapshot and compares whole states: slow on purpose.
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
