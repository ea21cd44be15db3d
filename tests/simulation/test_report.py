"""``simulation.report``: what the command line prints and answers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from roomlink.cli import main
from roomlink.simulation import report
from roomlink.simulation.actions import Action
from roomlink.simulation.run import Evening, Failure, Outcome

ROOT = Path(__file__).parents[2]
GAP = Failure("gap", "program in a made at once", 21)
BROKEN = Outcome(7, 30, 0.5, 12, 1, "d", GAP, (Action("snapshot", {}, 2.0),))


def test_a_venue_of_one_s_own_can_be_simulated(capsys: pytest.CaptureFixture[str]) -> None:
    """Status 0, and one line that says how much was held."""
    assert main(["simulate", "--seed", "3", "--hours", "0.2", str(ROOT / "config" / "tidewater")]) == 0
    said = capsys.readouterr().out
    assert said.startswith("1 of 1 seeds held every rule: ")


def test_a_broken_rule_is_told_with_its_seed_its_step_and_the_shortest_way_to_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 1; in words, or with ``--json`` as data."""
    monkeypatch.setattr(report, "simulate", lambda evening: BROKEN)
    assert main(["simulate", "--seed", "7", "--hours", "0.1"]) == 1
    said = capsys.readouterr().out
    for part in ("seed 7: ", "at step 21 a rule broke, gap: ", GAP.text, "1. a snapshot is saved; 2 s"):
        assert part in said
    assert main(["simulate", "--seed", "7", "--hours", "0.1", "--json"]) == 1
    (told,) = json.loads(capsys.readouterr().out)
    assert told["seed"] == 7
    assert told["failure"]["rule"] == "gap"
    assert told["short"] == ["a snapshot is saved; 2 s pass"]


def test_seeds_count_on_from_the_first(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Each is an evening of its own."""
    seen: list[int] = []

    def simulate(evening: Evening) -> Outcome:
        seen.append(evening.seed)
        return Outcome(evening.seed, 1, 1.0, 1, 0, "d")

    monkeypatch.setattr(report, "simulate", simulate)
    assert main(["simulate", "--seed", "40", "--seeds", "3", "--hours", "0.1"]) == 0
    assert seen == [40, 41, 42]
    assert capsys.readouterr().out.startswith("3 of 3 seeds held every rule: 3.0 simulated hours, 3 steps")


def test_a_folder_that_is_none_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Status 1, on standard error."""
    assert main(["simulate", "--seed", "1", str(tmp_path / "nowhere")]) == 1
    assert "nowhere" in capsys.readouterr().err
