"""``hand_rules`` and ``hands``: locks and leads as the proof sees them, with the engine's rules broken one by one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.core import leading, leads, locks, scenes, treating
from roomlink.core.commands import Act, Actor, SetLock
from roomlink.core.lead_records import Lead
from roomlink.core.spec import from_data
from roomlink.rehearsal import hand_rules, hands
from roomlink.rehearsal.circumstances import moved
from roomlink.rehearsal.plan import Plan
from roomlink.rehearsal.proof import prove
from roomlink.rehearsal.rules import Broken
from roomlink.rehearsal.runner import rehearse
from roomlink.rehearsal.trial import Trial
from roomlink.testing import venues

PERSON = Actor("alex", "panel", "alex")
SCENES: dict[str, Any] = {"dinner": {"type": "section", "values": {"volume": -38.0}}}
DATA = venues.row(
    3,
    scenes=SCENES,
    combining={
        **venues.lead_by_order("abc", others="mirror"),
        "on_combine": {"volume": "quietest", "mute": "lead"},
        "on_separate": {"volume": "restore"},
    },
)


@pytest.fixture
def trial() -> Trial:
    trial = Trial(DATA)
    trial.begin()
    trial.do(Act(PERSON, "volume", "set", zone="b", value=-50.0))
    return trial


def plan() -> Plan:
    return Plan.of(from_data(DATA))


def test_the_proof_holds_with_locks_and_leads_that_change() -> None:
    """In every arrangement, beside each wall in turn."""
    assert prove(DATA, processes=1).failure is None


def nothing(*_: Any, **__: Any) -> None:
    """A rule that is switched off."""


@pytest.mark.parametrize(
    ("module", "name", "instead", "rule"),
    [
        (locks, "require_free", nothing, "lock"),
        (scenes, "_kept", lambda *_: {}, "lock"),
        (locks, "covering", nothing, "lock"),
    ],
)
def test_a_lock_that_is_not_kept_is_found(
    trial: Trial, monkeypatch: pytest.MonkeyPatch, module: Any, name: str, instead: Callable[..., Any], rule: str
) -> None:
    """By hands, by scenes, or by the wall."""
    monkeypatch.setattr(module, name, instead)
    with pytest.raises(Broken) as caught:
        hands.locked(plan(), trial, "a-b")
    assert caught.value.rule == rule


def test_a_lock_that_gives_way_to_a_wall_is_found(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where nothing was asked of it by hand."""
    trial.do(SetLock(PERSON, "mine", zone="a"))
    monkeypatch.setattr(treating, "treats", lambda state, zone, control: (zone, control) in state.controls)
    with pytest.raises(Broken, match="volume in a is locked"):
        trial.do(moved("a-b", "open"))


def test_a_lead_that_stays_with_a_lost_panel_is_found(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody inherits it."""
    trial.do(moved("a-b", "open"))
    monkeypatch.setattr(leads, "_next", nothing)
    with pytest.raises(Broken, match="b-panel does not lead though the panel of a-panel is gone"):
        hands.led_by_others(plan(), trial, "a-b")


def test_a_panel_that_steals_the_lead_back_is_found(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    """The lead goes by the order alone."""
    trial.do(moved("a-b", "open"))
    plain = leading.lead_of

    def by_order(state: Any, group: Any) -> Any:
        lead: Lead | None = state.leads.get(group)
        return plain(state, group) if lead is None or not lead.controller else "a-panel"

    monkeypatch.setattr(leading, "lead_of", by_order)
    with pytest.raises(Broken):
        hands.led_by_others(plan(), trial, "a-b")


def test_what_the_watch_reckons_by_itself(trial: Trial) -> None:
    """Who leads, by the tables alone, and what a lock keeps."""
    trial.do(moved("a-b", "open"))
    state, group = trial.state, ("a", "b")
    assert hand_rules.lead(plan(), state, group) == "a-panel"
    state.absent["a-panel"] = 1.0
    assert hand_rules.lead(plan(), state, group) == "b-panel"
    state.absent["b-panel"] = 1.0
    assert hand_rules.lead(plan(), state, group) == "a-panel"
    state.leads[group] = Lead("b-panel", "taken", 1.0)
    assert hand_rules.lead(plan(), state, group) == "b-panel"
    state.leads[group] = Lead("c-panel", "taken", 1.0)
    assert hand_rules.lead(plan(), state, group) is None
    trial.do(SetLock(PERSON, "mine", zone="b", controls=("volume",)))
    assert hand_rules.keeps(state.locks, ("b", "volume"))
    assert not hand_rules.keeps(state.locks, ("b", "mute"))
    assert locks.covering(state, "b", "mute") is None


KEYPAD = """
venue: {id: trial, name: Trial, timezone: UTC}
zone_types:
  room:
    controls:
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 6s, start: -30}
      mute: {kind: switch}
      talkback: {kind: momentary}
zones: {heron: {type: room}, plover: {type: room}}
controllers: {heron-wall: {home: heron}, plover-wall: {home: plover}}
devices: {pad: {driver: simulated}}
stations:
  keypad:
    controller: heron-wall
    device: pad
    keys:
      quiet: {point: {name: quiet}, control: mute, press: toggle}
      talk: {point: {name: talk}, control: talkback, press: hold}
      softer: {point: {name: softer}, control: volume, step: -3}
    lamps:
      quiet: {point: {name: lamp}, control: mute, on: lit, off: dark, mixed: blink}
"""
EVENING = """
rehearsal: {name: Pad, start: 2026-03-14 19:00}
steps:
  - at: 19:00:10
    do: {turn: pad, point: quiet, value: true}
    expect: {heron.mute: on}
  - after: 1s
    expect: {devices: {pad: {lamp: lit}}}
  - after: 1s
    do: [{link: heron-wall, to: plover}]
  - after: 1s
    expect: {devices: {pad: {lamp: blink}}}
  - after: 1s
    do: [{turn: pad, point: softer, value: true}, {turn: pad, point: talk, value: true}]
    expect: {heron.volume: -33, heron.talkback: on}
  - after: 1s
    do: {unplug: pad}
  - after: 1s
    expect: {heron.talkback: off}
"""


def test_a_rehearsal_works_a_station_by_its_device(tmp_path: Path) -> None:
    """Keys are turned, lamps are looked at, and what is held is let go as the pad is unplugged."""
    (tmp_path / "rehearsals").mkdir()
    (tmp_path / "venue.yaml").write_text(KEYPAD)
    (tmp_path / "rehearsals" / "pad.yaml").write_text(EVENING)
    (result,) = rehearse(tmp_path, [tmp_path / "rehearsals" / "pad.yaml"])
    assert result.passed, (result.failures, result.findings)
