"""``scenario``, ``reading`` and ``expect``: what a scenario's file may say, and findings with their place."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from roomlink.core.spec import from_data
from roomlink.errors import VenueFault
from roomlink.rehearsal.expect import agrees
from roomlink.rehearsal.scenario import Scenario, load_scenario, scenarios_of
from roomlink.rehearsal.steps import Do
from roomlink.testing import venues

SPEC = from_data(venues.row(3) | {"venue": {"id": "trial", "name": "Trial", "timezone": "America/Halifax"}})


def read(folder: Path, text: str) -> Scenario:
    path = folder / "evening.yaml"
    path.write_text(text)
    return load_scenario(path, SPEC)


def findings(folder: Path, text: str) -> list[str]:
    with pytest.raises(VenueFault) as caught:
        read(folder, text)
    return [str(finding) for finding in caught.value.findings]


def times(scenario: Scenario) -> list[float]:
    return [round(step.at - scenario.start, 6) for step in scenario.steps]


def test_times_are_from_the_start_from_the_step_before_or_by_the_clock(tmp_path: Path) -> None:
    """And a clock time long past is of the next day."""
    scenario = read(
        tmp_path,
        """
rehearsal: {name: Late, start: 2026-03-14 18:00}
steps:
  - {at: 90s, expect: {groups: []}}
  - {after: 500ms, expect: {groups: []}}
  - {at: 18:05, expect: {groups: []}}
  - {at: "23:59:30", expect: {groups: []}}
  - {at: 00:10, expect: {groups: []}}
""",
    )
    assert scenario.start == datetime(2026, 3, 14, 18, tzinfo=ZoneInfo("America/Halifax")).timestamp()
    assert times(scenario) == [90.0, 90.5, 300.0, 21_570.0, 22_200.0]


def test_what_is_done_is_a_verb_with_its_object_and_durations_in_seconds(tmp_path: Path) -> None:
    """One thing, or several at the same time."""
    scenario = read(
        tmp_path,
        """
steps:
  - do: {set: a.volume, value: -20, over: 2s}
  - do: [{wall: a-b, position: open}, {press: a-panel.talkback, by: alex}]
""",
    )
    assert scenario.steps[0].dos == (Do("set", {"set": "a.volume", "value": -20, "over": 2.0}),)
    assert [do.verb for do in scenario.steps[1].dos] == ["wall", "press"]
    assert str(scenario.steps[0].dos[0]) == "set a.volume to -20, over 2 s"


def test_every_finding_has_its_place_and_says_what_would_be_right(tmp_path: Path) -> None:
    """All of them at once, in the order of the file."""
    found = findings(
        tmp_path,
        """rehearsal: {nam: Evening}
steps:
  - at: 10s
    do: {sett: a.volume, value: 1}
  - at: 5s
    do: {set: a.volum, value: 1}
  - do: {set: a.volume}
    expect: {a.volume: {valu: 1}, group: [], walls: {b-a: open}}
  - do: {wall: a-b, position: ajar, over: 3s}
  - {at: soon, do: {link: a-panel, to: d}}
  - {do: {set: a.volume, value: 1, over: 3}, expect: {links: {a-panel: a}}}
""",
    )
    path = tmp_path / "evening.yaml"
    lines = path.read_text().splitlines()
    for line, there, words in (
        (1, "nam:", "unknown key 'nam'; did you mean 'name'?"),
        (4, "sett", "unknown key 'sett'; did you mean 'set'?"),
        (5, "5s", "this is before the step above it"),
        (6, "a.volum", "a has no control named 'volum'; did you mean 'volume'?"),
        (7, "{set", "'value' is missing; write {set: ..., value: ...}"),
        (8, "valu", "unknown key 'valu'; did you mean 'value'?"),
        (8, "group", "unknown key 'group'"),
        (8, "b-a", "there is no wall named 'b-a'"),
        (9, "ajar", "'ajar' is not a position; write one of closed, open, moving, unknown"),
        (9, "over", "unknown key 'over'"),
        (10, "soon", "'soon' is neither a duration nor a clock time"),
        (10, "d}", "there is no zone named 'd'; there is a, b, c"),
        (11, "3}", "3 has no unit of time; write 3s"),
        (11, "a}", "'a' is not a list; write it as [one, two]"),
    ):
        said = [one for one in found if words in one]
        assert said, (words, found)
        column = lines[line - 1].index(there) + 1
        assert said[0].startswith(f"{path}:{line}:{column}: "), said[0]
    assert len(found) == 14


def test_what_is_no_scenario_at_all_is_told_too(tmp_path: Path) -> None:
    """No file, no YAML, no steps, no date, a refusal of nothing."""
    with pytest.raises(VenueFault, match="there is no such file"):
        load_scenario(tmp_path / "none.yaml", SPEC)
    assert "this is not YAML" in findings(tmp_path, "steps: [")[0]
    assert "there are no steps" in findings(tmp_path, "rehearsal: {name: Empty}")[0]
    assert "is not a date" in findings(tmp_path, "rehearsal: {start: soon}\nsteps: [{do: {unpin: a-b}}]")[0]
    assert "nothing is done" in findings(tmp_path, "steps: [{expect: {refused: locked}}]")[0]


@pytest.mark.parametrize(
    ("expected", "seen", "same"),
    [
        ("on", True, True), ("off", True, False), (True, True, True), ("none", None, True), (None, None, True),
        (-20, -20.0004, True), (-20, -20.1, False), (1, True, False),
        ("laptop", "laptop", True), ("laptop", None, False),
    ],
)  # fmt: skip
def test_values_are_compared_as_people_write_them(expected: object, seen: object, same: bool) -> None:
    """On, off and none are words; numbers are the same within a hair; one is not on."""
    assert agrees(expected, seen) is same


def test_the_scenarios_of_a_venue_are_those_of_its_rehearsals_folder(tmp_path: Path) -> None:
    """In the order of their names."""
    (tmp_path / "rehearsals").mkdir()
    for name in ("turn.yaml", "fire.yaml", "notes.txt"):
        (tmp_path / "rehearsals" / name).write_text("")
    assert [path.name for path in scenarios_of(tmp_path)] == ["fire.yaml", "turn.yaml"]
