"""The demo venue's day, as it really goes: it runs green, and each rule of it that is switched off is found by name."""

from __future__ import annotations

from collections.abc import Callable
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
from roomlink.rehearsal.invariants import Watch
from roomlink.rehearsal.runner import Performance, run
from roomlink.rehearsal.scenario import Scenario, load_scenario
from roomlink.rehearsal.stage import Stage
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
    home = None if lead is None else state.spec.controllers[lead].home
    return next((reference.Reference(home, part) for part in parts if home in part), None)


def _ageless(draft: Any, combining: Any, zone: str) -> Any:
    return draft.alone.get(zone, {})


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
    ("who adopts whom", reference, "_used_last", lambda state, parts: parts),
    ("combine on request", arrangements, "mismatched", lambda wall: False),
    ("links by hand", homing, "go_home", nothing),
    ("restore has an age", treating, "quiet", _loud),
    ("what travels", radio, "mute_parted", nothing),
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
