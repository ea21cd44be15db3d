"""``invariants``, ``plan``, ``treatment``, ``faces`` and ``shrink``: the watch's own reckoning, and what it raises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import networkx
import pytest

from roomlink.core.records import Choice, Level, Wall
from roomlink.core.spec import from_data
from roomlink.rehearsal.adoption import Adopted
from roomlink.rehearsal.faces import of_levels, of_states
from roomlink.rehearsal.invariants import RULES, Broken, Watch, said, same
from roomlink.rehearsal.plan import Plan, components
from roomlink.rehearsal.shrink import fewer
from roomlink.rehearsal.treatment import treated
from roomlink.testing import venues
from roomlink.testing.driver import Driver

RULES_OF = {
    "on_combine": {"program": "lead", "volume": "quietest"},
    "on_separate": {"program": "none", "volume": "restore"},
}


def plan_of(**members: Any) -> Plan:
    controls = {"program": venues.choice("lectern", "laptop", sources=True), "volume": venues.level(ceiling=-6.0)}
    combining = venues.lead_by_order("bac", **{**RULES_OF, **members})
    return Plan.of(from_data(venues.row(3, controls=controls, combining=combining)))


def test_groups_are_those_of_an_independent_library() -> None:
    """Every arrangement of a grid with a loop, an overflow included."""
    plan = Plan.of(from_data(venues.grid(3, 2)))
    for opened in product((False, True), repeat=len(plan.walls)):
        walls = [wall for wall, is_open in zip(plan.walls, opened, strict=True) if is_open]
        graph = networkx.Graph([plan.walls[wall] for wall in walls] + [("a", "f")])
        graph.add_nodes_from(plan.zones)
        groups = {frozenset(group) for group in components(plan, walls, [("a", "f")]).values()}
        assert groups == {frozenset(group) for group in networkx.connected_components(graph)}


def test_zones_that_join_shall_get_what_on_combine_says() -> None:
    """That of b is adopted; the quietest level counts; a source is said as each zone says it."""
    plan = plan_of()
    before = {("a", "program"): None, ("a", "volume"): -40.0, ("b", "program"): "laptop", ("b", "volume"): -20.0}
    wishes = treated(plan, ("a", "b"), {("a",), ("b",)}, before, {}, Adopted("b", ("b",), ()))
    assert wishes == {
        ("a", "program"): ("combine", "b/laptop"),
        ("a", "volume"): ("combine", -40.0),
        ("b", "program"): ("combine", "laptop"),
        ("b", "volume"): ("combine", -40.0),
    }


def test_a_zone_that_parts_shall_get_what_on_separate_says() -> None:
    """What it had alone comes back; a rule for nothing keeps; a lost source falls back before anything else."""
    before: dict[tuple[str, str], Any] = {("a", "program"): "b/laptop", ("a", "volume"): -10.0}
    kept: dict[str, Any] = {"volume": -12.0, "program": "lectern"}
    old: set[tuple[str, ...]] = {("a", "b")}
    assert treated(plan_of(), ("a",), old, before, kept, None) == {
        ("a", "program"): ("restore", None),
        ("a", "volume"): ("restore", -12.0),
    }
    assert treated(plan_of(on_separate={"program": "keep"}), ("a",), old, before, kept, None) == {
        ("a", "program"): ("sources", None),
        ("a", "volume"): ("quiet", -10.0),
    }
    quieter = {**before, ("a", "volume"): -40.0}
    assert treated(plan_of(), ("a",), old, quieter, kept, None)["a", "volume"] == ("quiet", -40.0)
    with_ceiling = treated(plan_of(on_separate={"volume": 0.0}), ("a",), old, before, kept, None)
    assert with_ceiling["a", "volume"] == ("restore", -6.0)


def test_a_part_that_stays_plural_is_treated_only_if_it_has_a_new_lead() -> None:
    """Without b, the first of the lead order, a leads what is left, which gets no louder; with it nothing changes."""
    plan = plan_of(on_combine={"volume": "loudest"})
    before = {(zone, control): None for zone in "abc" for control in ("program",)}
    levels: dict[tuple[str, str], Any] = {("a", "volume"): -40.0, ("b", "volume"): -20.0, ("c", "volume"): -30.0}
    wishes = treated(plan, ("a", "c"), {("a", "b", "c")}, {**before, **levels}, {}, None)
    assert wishes["a", "volume"] == ("quiet", -40.0)
    wishes = treated(plan, ("b", "c"), {("a", "b", "c")}, {**before, **levels}, {}, None)
    assert wishes["c", "volume"] == ("quiet", -30.0)


@pytest.mark.parametrize(
    ("votes", "shown"),
    [
        ("aab", {"mismatch-flag": (None, False, True, ["x", "y", "z"]), "majority": ("a", True, True, ["z"]),
                 "last-linked": ("b", True, True, ["x", "y"])}),
        ("aaa", {policy: ("a", True, False, []) for policy in ("mismatch-flag", "majority", "last-linked")}),
        ("abc", {"majority": (None, False, True, ["x", "y", "z"]), "last-linked": ("c", True, True, ["x", "y"])}),
    ],
)  # fmt: skip
def test_what_panels_shall_show_is_counted_out(votes: str, shown: dict[str, Any]) -> None:
    """By each policy."""
    for policy, expected in shown.items():
        assert of_states(policy, list(zip("xyz", votes, strict=True))) == expected
    assert of_states("majority", []) == (None, False, False, [])


def test_levels_agree_within_their_tolerance() -> None:
    """The median is shown where they do, or where more than half do."""
    votes = [("x", -20.0), ("y", -20.4), ("z", -35.0)]
    assert of_levels("mismatch-flag", votes[:2], 0.5) == (-20.2, True, False, [])
    assert of_levels("mismatch-flag", votes, 0.5) == (None, False, True, ["x", "y", "z"])
    assert of_levels("majority", votes, 0.5) == (-20.4, True, True, ["z"])


def watched(change: Any) -> Broken:
    """What the watch raises for a state that was changed by hand, behind the engine's back."""
    driver = Driver(venues.row(2, combining=venues.lead_by_order("ab", blend=1.0)), checked=False)
    driver.wall("a-b", "open")
    driver.advance(2.0)
    watch = Watch.over(driver.state.spec)
    watch.look(driver.state)
    change(driver)
    with pytest.raises(Broken) as caught:
        watch.entry(driver.state, driver.now)
    return caught.value


def put(table: str, key: Any, record: Any) -> Any:
    return lambda driver: getattr(driver.state, table).__setitem__(key, record)


def disagree_on_a_link(driver: Driver) -> None:
    """A zone forgets who is linked to it, in an entry that changes that link."""
    driver.state.linked_by.drop("b")
    driver.state.links["a-panel", "b"] = replace(driver.state.links["a-panel", "b"], since=-1.0)


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("groups", put("group_of", "a", ("a",))),
        ("flags", lambda d: put("walls", "a-b", replace(d.state.walls["a-b"], flagged=True))(d)),
        ("groups", put("walls", "a-b", Wall("closed"))),
        ("lead", lambda d: put("roles", "a-panel", replace(d.state.roles["a-panel"], lead=False))(d)),
        ("links", lambda d: d.state.links.drop(("a-panel", "b"))),
        ("links", disagree_on_a_link),
        ("range", put("controls", ("a", "volume"), Level(0.0, 3.0))),
        ("held", put("held", ("a", "talkback"), ("nobody",))),
    ],
)
def test_a_state_that_breaks_a_rule_is_told_by_the_rule_s_name(rule: str, change: Any) -> None:
    """With a sentence that names the place."""
    broken = watched(change)
    assert broken.rule == rule
    assert str(broken).startswith(RULES[rule])


def test_a_choice_may_not_make_before_the_gap_has_passed() -> None:
    """Seen over several entries; a report of a device is taken as it is."""
    driver = Driver(venues.venue("a", controls={"program": venues.choice(gap=0.5)}), checked=False)
    watch = Watch.over(driver.state.spec)

    def enter(value: str | None, at: float, by: str = "alex") -> None:
        watch.look(driver.state)
        driver.state.controls["a", "program"] = Choice(value, by=by)
        watch.entry(driver.state, at)

    enter("laptop", 0.0)
    enter(None, 1.0)
    with pytest.raises(Broken, match=r"0\.400 s after the break"):
        enter("camera", 1.4)
    enter(None, 2.0)
    enter("lectern", 2.5)
    with pytest.raises(Broken, match="without a break"):
        enter("camera", 3.0)


def test_a_fork_of_the_watch_remembers_by_itself() -> None:
    """What one sees the other does not."""
    watch = Watch.over(from_data(venues.row(2)))
    fork = watch.copy()
    fork.alone["a"] = {"volume": -1.0}
    fork.expect("a-b", True, 5.0)
    assert (watch.alone, watch.expected) == ({}, {})


def test_values_are_compared_and_said_as_people_do() -> None:
    """Numbers but for rounding; one is not on."""
    assert same(-20.0, -20.0 + 1e-9)
    assert not same(-20.0, -20.1)
    assert not same(True, False)
    assert [said(value) for value in (None, True, False, -20.5, "laptop")] == ["none", "on", "off", "-20.5", "laptop"]


def test_a_run_is_shrunk_to_what_cannot_be_left_out() -> None:
    """Whatever is needed stays, in order; nothing else does."""
    tries = 0

    def still(some: Sequence[int]) -> bool:
        nonlocal tries
        tries += 1
        return {7, 40, 93} <= set(some)

    assert fewer(list(range(100)), still) == [7, 40, 93]
    assert tries < 200
    assert fewer([1], lambda some: True) == [1]
