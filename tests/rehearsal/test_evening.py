"""The demo venue's day, as it really goes: it runs green, and each rule of it that is switched off is found by name."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from roomlink.core import (
    arrangements,
    asking,
    clearing,
    closings,
    discretion,
    fences,
    homing,
    lamps,
    late_turns,
    leading,
    leads,
    locks,
    overflows,
    paging,
    radio,
    reference,
    sources,
    treating,
    unmuting,
    wall_marks,
)
from roomlink.core.spec import LevelSpec
from roomlink.drivers.registry import Registry
from roomlink.errors import VenueFault
from roomlink.rehearsal.invariants import Watch
from roomlink.rehearsal.runner import Performance, run
from roomlink.rehearsal.scenario import Scenario, load_scenario
from roomlink.rehearsal.stage import Stage
from roomlink.runtime import wanted
from roomlink.runtime.device_rules import DriverRules
from roomlink.runtime.stations import Stations
from roomlink.venue.load import Loaded, load

DEMO = Path(__file__).parents[2] / "config" / "tidewater"
DAY = DEMO / "rehearsals" / "evening.yaml"
STEPS_MIN = 150
RULES = (
    "power return",
    "who adopts whom",
    "combine on request",
    "bookings fence",
    "links by hand",
    "restore has an age",
    "what travels",
    "one-way overflow",
    "stations",
    "locks and leads",
    "the end",
    "crew",
    "ceilings and paging",
    "private and trusted",
)


@pytest.fixture(scope="module")
def demo() -> Loaded:
    return load(DEMO, DriverRules(Registry.of()))


@pytest.fixture(scope="module")
def day(demo: Loaded) -> Scenario:
    return load_scenario(DAY, demo.spec)


def test_the_day_runs_green_and_shows_each_rule(demo: Loaded, day: Scenario) -> None:
    """In virtual time, held to every rule of the watch as well."""
    result = run(day, demo)
    assert result.passed, str(result)
    assert result.steps >= STEPS_MIN
    assert {step.shows for step in day.steps if step.shows} == set(RULES)
    assert all(step.expectations or step.refused for step in day.steps if step.shows)


class Found(Exception):
    """Something is not as expected."""


class UpToTheFirst(Performance):
    """A run that ends at the first failure: what comes after it says nothing."""

    def _failed(self, *args: Any) -> None:
        super()._failed(*args)
        raise Found


def nothing(*_: Any, **__: Any) -> None:
    """A rule that is switched off."""


def _lead_alone(state: Any, group: Any, parts: Any) -> reference.Reference | None:
    lead = leading.lead_of(state, group)
    home = "" if lead is None else state.spec.controllers[lead].home
    return next((reference.Reference(home, part) for part in parts if home in part), None)


def _ageless(draft: Any, combining: Any, zone: str) -> Any:
    return draft.alone.get(zone, {})


def _both_ways(state: Any, zone: str, choice: Any) -> Iterator[str]:
    yield from state.group_of[zone]
    for flow in state.one_ways.values():
        ends = (flow.source, flow.to)
        yield from ends if zone in ends else ()


def _unhushed(binding: Any, value: Any, until: float) -> Any:
    return lambda at: binding.scaling.out(value)


def _loud(spec: Any, control: str, now: Any, value: Any) -> Any:
    return value


FAULTS: list[tuple[str, Any, str, Any]] = [
    ("power return", clearing, "after_outage", nothing),
    ("who adopts whom", reference, "choose", _lead_alone),
    ("combine on request", asking, "WAITS", {}),
    ("bookings fence", fences, "fence", nothing),
    ("links by hand", homing, "end_parted", nothing),
    ("restore has an age", treating, "_kept_for", _ageless),
    ("what travels", sources, "of_venue", lambda spec, choice: ()),
    ("one-way overflow", overflows, "end_with_bookings", nothing),
    ("stations", Stations, "heard", nothing),
    ("locks and leads", locks, "covering", nothing),
    ("the end", clearing, "clear_down", nothing),
    ("crew", late_turns, "_judge", nothing),
    ("ceilings and paging", LevelSpec, "top", property(lambda level: level.hi)),
    ("private and trusted", discretion, "veiled", lambda *_, **__: False),
]
"""One a rule: where it is switched off, and what is there instead."""
MORE: list[tuple[str, Any, str, Any]] = [
    ("power return", wanted, "muted", _unhushed),
    ("who adopts whom", reference, "_used_last", lambda state, parts: parts),
    ("combine on request", arrangements, "mismatched", lambda wall: False),
    ("links by hand", homing, "go_home", nothing),
    ("restore has an age", treating, "quiet", _loud),
    ("what travels", radio, "mute_parted", nothing),
    ("one-way overflow", sources, "_near", _both_ways),
    ("stations", lamps, "_votes", lambda *_: []),
    ("locks and leads", leads, "_next", nothing),
    ("the end", closings, "put_off", lambda draft, routine, zones, due: tuple(zones)),
    ("crew", wall_marks, "view", lambda *_: {"do_not_move": None, "pass_door": None}),
    ("ceilings and paging", paging, "ducked", lambda *_: 0.0),
    ("ceilings and paging", unmuting, "follow", nothing),
]
"""Further parts of rules."""


@pytest.mark.parametrize(
    ("rule", "where", "name", "instead"),
    [*FAULTS, *MORE],
    ids=[f"{rule}: {name}" for rule, _, name, _ in [*FAULTS, *MORE]],
)
def test_a_rule_that_is_switched_off_is_found_by_its_own_expectation(
    demo: Loaded,
    day: Scenario,
    monkeypatch: pytest.MonkeyPatch,
    rule: str,
    where: Any,
    name: str,
    instead: Callable[..., Any],
) -> None:
    """By what the day expects alone: the watch looks away. The first expectation to fail is one of that rule."""
    monkeypatch.setattr(Watch, "entry", nothing)
    monkeypatch.setattr(where, name, instead)
    performance = UpToTheFirst(day, Stage(demo.data, demo.digest, day.start))
    with pytest.raises(Found):
        performance.run()
    (failure,) = performance.failures
    assert failure.shows == rule, str(failure)


def test_each_rule_has_a_fault() -> None:
    """Fourteen, and none twice."""
    assert tuple(rule for rule, *_ in FAULTS) == RULES


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("evenings.yaml", "heron:  {house: 60,", "heron:  {screen: open, house: 60,", "a motion takes no value"),
        ("venue.yaml", "camera, signage]", "camera, signage, lead]", "cannot be named 'lead'"),
        ("venue.yaml", "sources: true ", "allow_none: false ", "allow_none"),
    ],
)
def test_what_no_venue_may_say_is_refused(tmp_path: Path, file: str, old: str, new: str, says: str) -> None:
    """A motion in a scene, an option with a word of the rules, a choice that may not be empty and starts so."""
    venue = shutil.copytree(DEMO, tmp_path / "hall")
    text = (venue / file).read_text()
    assert old in text
    (venue / file).write_text(text.replace(old, new))
    with pytest.raises(VenueFault) as caught:
        load(venue, DriverRules(Registry.of()))
    assert says in str(caught.value)


REFUSED = """
rehearsal: {name: Nothing of that, start: 2026-03-13 06:00}
steps:
  - do: {prolong: nobody, for: 5min}
    expect: {refused: unknown-name}
  - do: {tick: plover-tern, of: nobody}
    expect: {refused: unknown-name}
  - do: {keep-on: night}
    expect: {refused: nothing-closes}
"""
MISTAKEN = """
rehearsal: {name: Mistakes, start: 2026-03-13 06:00}
steps:
  - do: {mark: plover-tern}
    expect: {told: {heron: 5}, moves: {gala: {heron-plover: {too: open}, attic: none}}, closing: {attic: none}}
"""


def test_what_an_evening_has_not_is_refused_and_mistakes_have_their_place(demo: Loaded, tmp_path: Path) -> None:
    """Bookings, moves and routines that are not there; words that a scenario does not know."""
    path = tmp_path / "day.yaml"
    path.write_text(REFUSED)
    result = run(load_scenario(path, demo.spec), demo)
    assert result.passed, str(result)
    path.write_text(MISTAKEN)
    with pytest.raises(VenueFault) as caught:
        load_scenario(path, demo.spec)
    found = [finding.key for finding in caught.value.findings]
    assert found == [
        "steps[0].do",
        "steps[0].expect.told.heron",
        "steps[0].expect.moves.gala.heron-plover.too",
        "steps[0].expect.moves.gala.attic",
        "steps[0].expect.closing.attic",
    ]


def test_a_failure_names_the_rule_that_its_step_shows(demo: Loaded, tmp_path: Path) -> None:
    """In words, and in the report for other programs."""
    path = tmp_path / "day.yaml"
    path.write_text("steps: [{shows: crew, expect: {groups: [[heron, plover]]}}]")
    (failure,) = (result := run(load_scenario(path, demo.spec), demo)).failures
    assert str(failure).splitlines()[0].endswith("(shows: crew)")
    assert result.as_data()["failures"][0]["shows"] == "crew"
