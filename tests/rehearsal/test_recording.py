"""``recording`` and ``commands``: scenarios cut from a journal and made of counterexamples, and the command line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from roomlink.cli import main
from roomlink.core import orders, treating
from roomlink.core.access_commands import AddKey, BeginSession, SetPerson
from roomlink.core.commands import (
    Act,
    Actor,
    Arm,
    Configure,
    LetGo,
    LinkZone,
    RecallScene,
    ReportControl,
    ReportDevice,
    ReportOverride,
    ReportWall,
    SaveScene,
    StopMotion,
    Unlink,
)  # fmt: skip
from roomlink.core.events import ControlSet
from roomlink.core.records import Choice
from roomlink.drivers.registry import Registry
from roomlink.errors import BadValue
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.sqlite import SqliteJournal
from roomlink.rehearsal.proof import prove
from roomlink.rehearsal.recording import cut, flow, of_counterexample
from roomlink.rehearsal.runner import run_file
from roomlink.rehearsal.stage import Stage
from roomlink.rehearsal.steps import HELD, as_written
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.load import Loaded, load
from tests.rehearsal.test_runner import VENUE

START = 1_800_000_000.0
KIM = Actor("kim", "panel", "socket-7")
PLAIN = Actor("program", "http")
WALL = Actor("wall", "contact")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    venue = tmp_path / "pier"
    venue.mkdir()
    (venue / "venue.yaml").write_text(VENUE)
    return venue


@pytest.fixture
def loaded(folder: Path) -> Loaded:
    return load(folder, DriverRules(Registry.of()))


EVENING: list[tuple[float, Any]] = [
    (1.0, Act(PLAIN, "volume", "set", zone="gull", value=-20.0)),
    (2.0, LinkZone(KIM, "auk-panel", "gull")),
    (20.125, ReportWall(WALL, "gull-auk", contacts=(False, None))),
    (25.0, Act(KIM, "volume", "raise", controller="gull-panel")),
    (25.333, Act(KIM, "volume", "stop", controller="gull-panel")),
    (26.0, Act(KIM, "program", "set", controller="gull-panel", value="laptop")),
    (26.1, Act(KIM, "program", "set", controller="gull-panel", value="lectern")),
    (30.0, Act(PLAIN, "talkback", "press", zone="auk", for_s=2.0)),
    (31.0, Act(KIM, "talkback", "press", controller="gull-panel")),
    (33.5, LetGo(Actor("service", "service"), "socket-7", START + 33.0, "no sign of life")),
    (40.0, SaveScene(KIM, "dinner", {"type": "room", "values": {"volume": -33.0}})),
    (41.0, RecallScene(KIM, "dinner", group="gull", over=2.0)),
    (45.0, Arm(KIM, "gull.screen", "Kim")),
    (46.0, Act(KIM, "screen", "open", zone="gull")),
    (48.0, StopMotion(Actor("service", "service"), "tried")),
    (50.0, ReportDevice(Actor("mixer", "device"), "mixer", False, "unplugged")),
    (55.0, ReportDevice(Actor("mixer", "device"), "mixer", True)),
    (56.0, ReportControl(Actor("mixer", "device"), "gull", "volume", -18.0)),
    (60.0, ReportOverride(Actor("inputs", "device"), "fire", True, "its contact is open")),
    (65.0, ReportOverride(Actor("inputs", "device"), "fire", False)),
    (70.0, ReportWall(WALL, "gull-auk", "closed", pin=600.0)),
    (71.0, Unlink(KIM, "auk-panel")),
    (80.0, Act(KIM, "volume", "align", controller="gull-panel", given=False)),
]  # fmt: skip


def recorded(loaded: Loaded, into: Any) -> None:
    """An evening as the service would have journalled it."""
    stage = Stage(loaded.data, loaded.digest, START)
    for after, command in EVENING:
        stage.advance_to(START + after)
        stage.do(command)
    stage.do(
        Configure(KIM, {**loaded.data, "scenes": {}, "venue": {**loaded.data["venue"], "name": "The Old Pier"}}, "x")
    )
    stage.advance_to(START + 100.0)
    into.append(stage.entries)


@pytest.mark.parametrize("begin", [0.0, 22.9, 25.1, 26.05, 31.5, 62.0])
def test_an_evening_cut_from_the_journal_runs_green(loaded: Loaded, tmp_path: Path, begin: float) -> None:
    """From any moment: at rest, in a blend, in a gap, while something is held, under an override."""
    journal = MemoryJournal()
    recorded(loaded, journal)
    out = tmp_path / "evening.yaml"
    assert cut(journal, START + begin, START + 100.0, out) > 5
    result = run_file(out, loaded)
    assert result.passed, f"{result}\n{out.read_text()}"
    assert result.expectations > 5


def test_a_cut_is_readable_and_expects_what_came_of_each_entry(loaded: Loaded, tmp_path: Path) -> None:
    """Who did what with which control, and no more than what changed."""
    journal = MemoryJournal()
    recorded(loaded, journal)
    out = tmp_path / "evening.yaml"
    cut(journal, START, START + 30.5, out)
    text = out.read_text()
    assert "{at: 1s, do: {set: gull.volume, value: -20, by: program}, expect: {gull.volume: -20}}" in text
    assert "{raise: gull-panel.volume, by: kim, holder: socket-7}" in text
    assert "{press: auk.talkback, for: 2s, by: program}" in text
    assert "groups: [[gull, auk]]" in text


def test_who_may_come_in_is_left_out_of_a_cut(loaded: Loaded, tmp_path: Path) -> None:
    """Neither what was so at its begin nor what came: a scenario is passed around, and runs green without."""
    stage = Stage(loaded.data, loaded.digest, START)
    for after, command in (
        (1.0, SetPerson(KIM, "alex", "engineer", "hidden-1")),
        (2.0, AddKey(KIM, "integration", "office", "view", "hidden-2", None, START + 20.0)),
        (10.0, BeginSession(KIM, "alex", "hidden-3")),
        (11.0, Act(PLAIN, "volume", "set", zone="gull", value=-20.0)),
        (30.0, SetPerson(KIM, "alex", None, "hidden-4")),
        (31.0, Act(PLAIN, "volume", "set", zone="gull", value=-25.0)),
    ):
        stage.advance_to(START + after)
        stage.do(command)
    journal = MemoryJournal()
    journal.append(stage.entries)
    out = tmp_path / "evening.yaml"
    assert cut(journal, START + 5.0, START + 40.0, out) == 2
    text = out.read_text() + out.with_suffix(".state.json").read_text()
    assert "hidden" not in text
    assert "alex" not in text
    assert run_file(out, loaded).passed


def test_what_did_not_happen_cannot_be_cut(loaded: Loaded, tmp_path: Path) -> None:
    """Before the first entry, or where nothing was done."""
    journal = MemoryJournal()
    recorded(loaded, journal)
    with pytest.raises(BadValue, match="nothing was recorded yet"):
        cut(journal, START - 1.0, START + 9.0, tmp_path / "x.yaml")
    with pytest.raises(BadValue, match="nothing happened"):
        cut(journal, START + 200.0, START + 300.0, tmp_path / "x.yaml")


def test_the_command_line_cuts_a_journal_that_a_service_holds(
    folder: Path, loaded: Loaded, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Times by the venue's clock or with an offset; the scenario then passes."""
    journal = SqliteJournal(tmp_path / "data" / "journal.db", "pier")
    recorded(loaded, journal)
    out = tmp_path / "evening.yaml"
    args = [
        "rehearse",
        str(folder),
        "--from-journal",
        str(tmp_path / "data"),
        "2027-01-15T09:00:00",
        "2027-01-15T08:01+00:00",
    ]
    assert main([*args, "--out", str(out)]) == 0
    journal.close()
    assert "entries written to" in capsys.readouterr().out
    assert main(["rehearse", str(folder), str(out), "--junit", str(tmp_path / "out.xml")]) == 0
    assert "1 passed, 0 failed" in capsys.readouterr().out
    assert "testsuite" in (tmp_path / "out.xml").read_text()
    assert main(args) == 2
    assert "--out" in capsys.readouterr().err
    assert main([*args[:3], str(tmp_path / "nowhere"), *args[4:], "--out", str(out)]) == 1


def test_the_command_line_answers_with_its_status_and_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 where all passed, 1 for a difference, a finding or nothing to run."""
    assert main(["rehearse", str(folder)]) == 1
    assert "has no scenario" in capsys.readouterr().err
    (folder / "rehearsals").mkdir()
    (folder / "rehearsals" / "one.yaml").write_text("steps: [{expect: {gull.volume: -30}}]")
    (folder / "rehearsals" / "two.yaml").write_text("steps: [{expect: {gull.volume: -31}}]")
    assert main(["rehearse", str(folder), "one"]) == 0
    capsys.readouterr()
    assert main(["rehearse", str(folder), "--json"]) == 1
    assert [one["passed"] for one in json.loads(capsys.readouterr().out)] == [True, False]


def test_a_counterexample_becomes_a_scenario_that_fails_until_the_fault_is_mended(
    folder: Path, loaded: Loaded, capsys: pytest.CaptureFixture[str]
) -> None:
    """Kept in the venue's rehearsals folder, ready to run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(treating, "_separate", lambda draft, spec, zone: None)
        assert main(["check", str(folder), "--prove"]) == 1
        assert "not proved: after" in capsys.readouterr().out
        (kept,) = (folder / "rehearsals").iterdir()
        result = run_file(kept, loaded)
        assert result.failures[-1].differences[0].what == "rule restore"
    result = run_file(kept, loaded)
    assert result.passed, str(result)
    main(["check", str(folder), "--prove"])
    assert "every rule holds" in capsys.readouterr().out
    main(["check", str(folder), "--prove", "--json"])
    assert json.loads(capsys.readouterr().out)["proof"]["holds"] is True


def test_a_counterexample_keeps_the_time_between_its_commands(loaded: Loaded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where that matters, as in a gap."""

    def set_choice(draft: Any, zone: str, control: str, option: str | None, *, by: str) -> None:
        draft.emit(ControlSet(zone, control, Choice(option, by=by)))

    monkeypatch.setattr(orders, "set_choice", set_choice)
    failure = prove(loaded.data).failure
    assert failure is not None
    assert failure.rule == "gap"
    text = of_counterexample(failure, "The Pier")
    assert "# rule gap: a choice breaks before it makes" in text
    assert "rehearsal: {name: " in text


def test_values_are_written_such_that_they_are_read_back_equal(tmp_path: Path) -> None:
    """Words stay bare where YAML takes them for words."""
    assert flow({"at": "1s", "value": None, "on": True, "words": ["a b", "gull.volume", "null", "16:18"]}) == (
        '{at: 1s, value: null, on: true, words: ["a b", gull.volume, "null", "16:18"]}'
    )


@pytest.mark.parametrize("command", [command for _, command in EVENING if not isinstance(command, SaveScene)])
def test_a_command_is_the_same_after_it_was_written(loaded: Loaded, command: Any) -> None:
    """Each verb gives back the command that it stands for; whose finger it is counts only for what is held."""
    again: Any = as_written(command).command(loaded.spec, START + 33.0)
    if getattr(command, "do", None) not in HELD:
        command = replace(command, by=replace(command.by, holder=None))
    assert again == command
