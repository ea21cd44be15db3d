"""Findings that only the arrangements show."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from roomlink.rehearsal.findings import arrangement_findings
from roomlink.rehearsal.survey import survey
from roomlink.venue import Finding, load

ROW = """
venue: {{id: trial, timezone: UTC}}
zone_types:
  hall:
    controls:
      volume: {{kind: level, unit: dB, range: [-60, 0], travel: 3s}}
      program: {{kind: choice, options: [lectern, laptop]}}
  annex: {{controls: {annex}}}
zones:
  a: {{type: hall}}
  b: {{type: annex}}
  c: {{type: hall}}
partitions:
  a-b: {{between: [a, b]}}
  b-c: {{between: [b, c]}}
controllers: {{a-panel: {{home: a}}, b-panel: {{home: b}}, c-panel: {{home: c}}}}
combining:
  lead_order: [{leads}]
  on_combine:
    {rule}
"""
HALL = (
    "{volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s},"
    " program: {kind: choice, options: [lectern, laptop]}}"
)


@pytest.fixture
def found(tmp_path: Path) -> Any:
    """The findings of a venue written as YAML."""

    def run(text: str) -> list[Finding]:
        (tmp_path / "venue.yaml").write_text(text, encoding="utf-8")
        loaded = load(tmp_path)
        return arrangement_findings(loaded, survey(loaded))

    return run


def row(annex: str = HALL, leads: str = "a-panel, b-panel, c-panel", rule: str = "volume: lead") -> str:
    """Three zones in a row; the one in the middle may be another type."""
    return ROW.format(annex=annex, leads=leads, rule=rule)


def test_a_row_of_like_zones_has_no_findings(found: Any) -> None:
    """Nothing to say."""
    assert found(row()) == []


@pytest.mark.parametrize(
    ("annex", "leads", "rule", "text", "severity"),
    [
        (
            "{volume: {kind: choice, options: [low, high]}}",
            "a-panel, b-panel, c-panel",
            "volume: lead",
            "volume is a level in a and a choice in b",
            "warning",
        ),
        (
            '{volume: {kind: level, unit: "%", range: [0, 100], travel: 3s}}',
            "a-panel, b-panel, c-panel",
            "volume: quietest",
            "volume is in dB in a and in % in b",
            "warning",
        ),
        (
            "{mute: {kind: switch}}",
            "b-panel, a-panel, c-panel",
            "program: lead",
            "in 3 of the 3 rooms that open walls make with it, the lead's home has no program: in a + b, b-panel leads",
            "warning",
        ),
        (
            "{mute: {kind: switch}}",
            "a-panel, b-panel, c-panel",
            "volume: lead",
            "in 1 of the 3 rooms that open walls make with it, the lead's home has no volume: in b + c, b-panel leads",
            "warning",
        ),
        (
            "{program: {kind: choice, options: [lectern, camera]}}",
            "a-panel, b-panel, c-panel",
            "program: lead",
            "led from a, b is left as it was where a has laptop",
            "note",
        ),
        (
            "{program: {kind: choice, options: [lectern, laptop], sources: true}}",
            "a-panel, b-panel, c-panel",
            "program: lead",
            "led from a, b is left as it was where a has lectern, laptop",
            "note",
        ),
    ],
    ids=["kinds", "units", "no lead has it", "one lead has it not", "options", "sources"],
)
def test_a_rule_that_cannot_be_followed_is_found_at_the_rule(
    found: Any, annex: str, leads: str, rule: str, text: str, severity: str
) -> None:
    """With a group in which it fails, and what would be right."""
    written = row(annex, leads, rule)
    (finding,) = found(written)
    lines = written.splitlines()
    assert lines[finding.line - 1][finding.column - 1 :] == rule
    assert finding.key == f"combining.on_combine.{rule.split(':')[0]}"
    assert text in finding.text
    assert finding.severity == severity
    assert finding.right


@pytest.mark.parametrize(
    ("annex", "rule"),
    [
        ("{volume: {kind: level, unit: '%', range: [0, 100], travel: 3s}}", "volume: keep"),
        ("{volume: {kind: level, unit: '%', range: [0, 100], travel: 3s, scope: local}}", "volume: quietest"),
        ("{mute: {kind: switch}}", "volume: quietest"),
    ],
    ids=["kept", "local", "not from the lead"],
)
def test_a_rule_that_does_not_ask_for_it_may_meet_unlike_zones(found: Any, annex: str, rule: str) -> None:
    """What is kept, or stays with its zone, or comes from those that have it, needs no lead that has it."""
    assert found(row(annex, rule=rule)) == []


def test_zones_that_no_walls_join_may_mean_what_they_like(found: Any) -> None:
    """The rule treats each room by itself."""
    annex = '{volume: {kind: level, unit: "%", range: [0, 100], travel: 3s}}'
    written = row(annex, rule="volume: quietest")
    apart = written.replace("a-b: {between: [a, b]}", "a-c: {between: [a, c]}").replace("b-c: {between: [b, c]}", "")
    assert found(apart) == []


def test_walls_in_a_loop_are_told_with_the_arrangements_in_which_they_part_nothing(found: Any) -> None:
    """As a note at each wall: it is flagged when it stands so."""
    written = row().replace("  b-c: {between: [b, c]}", "  b-c: {between: [b, c]}\n  c-a: {between: [c, a]}")
    notes = found(written)
    assert [note.key for note in notes] == ["partitions.a-b", "partitions.b-c", "partitions.c-a"]
    assert all(note.severity == "note" and note.column == 3 for note in notes)
    assert "does not part a and b in 1 of 8 arrangements: with b-c, c-a open" in notes[0].text


def test_rooms_without_a_posted_number_are_told_where_some_have_one(found: Any) -> None:
    """Single zones, and all walls open, are asked for elsewhere; these may not be meant to be used."""
    posted = "occupancy:\n  - {zones: [a, b], posted: 300}\n"
    (note,) = found(row() + posted)
    assert (note.key, note.severity) == ("occupancy", "note")
    assert "for 1 of the 2 rooms that some open walls make: b + c" in note.text
    assert found(row() + posted + "  - {zones: [c, b], posted: 300}\n") == []


def test_a_room_that_was_sampled_is_told_with_its_seed(found: Any) -> None:
    """As a note at its first wall."""
    zones = [f"z{n}" for n in range(18)]
    lines = [
        "venue: {id: trial, timezone: UTC}",
        "zone_types: {hall: {controls: {mute: {kind: switch}}}}",
        f"zones: {{{', '.join(f'{zone}: {{type: hall}}' for zone in zones)}}}",
        "partitions:",
        *(f"  {a}-{b}: {{between: [{a}, {b}]}}" for a, b in pairwise(zones)),
    ]
    (note,) = found("\n".join(lines))
    assert (note.key, note.severity, note.line, note.column) == ("partitions.z0-z1", "note", 5, 3)
    assert "2^17 arrangements: 36 were looked at" in note.text
    assert "(seed 0)" in note.text
