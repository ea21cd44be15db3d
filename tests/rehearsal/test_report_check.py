"""``roomlink check`` as a whole: planted faults, exit statuses, the examples."""

from __future__ import annotations

import json
import sys
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from roomlink.cli import main
from roomlink.venue.cautions import NOT_SAFETY

CONFIG = Path(__file__).parents[2] / "config"
Out = pytest.CaptureFixture[str]

SOUND = """\
venue: {id: harbour, name: Harbour Hall, timezone: America/Halifax}
zone_types:
  section:
    controls:
      program: {kind: choice, options: [lectern, laptop], gap: 300ms}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: -30}
      mute: {kind: switch, start: on}
      screen: {kind: motion, travel: 20s, max_run: 26s}
  lobby:
    controls:
      mute: {kind: switch}
      chime: {kind: switch}
zones:
  heron: {type: section, outline: [[0, 0], [12, 0], [12, 15], [0, 15]]}
  plover: {type: section, outline: [[12, 0], [24, 0], [24, 15], [12, 15]]}
  foyer: {type: lobby, outline: [[0, 15], [24, 15], [24, 20], [0, 20]]}
partitions:
  heron-plover: {between: [heron, plover], line: [[12, 0], [12, 15]]}
  plover-foyer: {between: [plover, foyer], line: [[12, 15], [24, 15]]}
controllers:
  heron-wall: {home: heron}
  plover-wall: {home: plover}
  foyer-wall: {home: foyer}
combining:
  lead_order: [heron-wall, plover-wall]
  on_combine: {program: lead, volume: quietest, mute: lead}
  on_separate: {volume: restore}
scenes:
  dinner: {type: section, values: {volume: -38, mute: off}}
devices:
  dmx: {driver: e131, universe: 1}
  desk: {driver: osc, host: 192.0.2.7, port: 9000}
  relays: {driver: simulated}
bindings:
  - {control: heron.volume, device: dmx, point: {channel: 1}}
  - {control: plover.volume, device: dmx, point: {channel: 2}}
overrides:
  fire: {kind: life-safety, input: {device: relays, point: {name: fire}}, values: {mute: on}}
occupancy:
  - {zones: [heron], posted: 160}
  - {zones: [plover], posted: 160}
  - {zones: [foyer], posted: 60}
  - {zones: [heron, plover], posted: 330}
  - {zones: [plover, foyer], posted: 230}
  - {zones: [heron, plover, foyer], posted: 400}
"""


class Fault(NamedTuple):
    """``planted`` takes the place of ``old``; what is found stands where the text then first has ``at``."""

    old: str
    planted: str
    at: str
    key: str
    text: str
    severity: str = "error"


FAULTS = {
    "unknown key": Fault(
        "heron-wall: {home: heron}",
        "heron-wall: {home: heron, colour: red}",
        "colour: red",
        "controllers.heron-wall.colour",
        "colour",
    ),
    "dangling name": Fault(
        "plover-wall: {home: plover}",
        "plover-wall: {home: plovr}",
        "plovr",
        "controllers.plover-wall.home",
        "no zone named 'plovr'",
    ),
    "unit without a unit": Fault(
        "gap: 300ms",
        "gap: 300",
        "300}",
        "zone_types.section.controls.program.gap",
        "300",
    ),
    "start out of range": Fault(
        "start: -30",
        "start: 30",
        "30}",
        "zone_types.section.controls.volume.start",
        "30",
    ),
    "motion without limits": Fault(
        "travel: 20s, max_run: 26s",
        "travel: 20s",
        "screen: {",
        "zone_types.section.controls.screen.max_run",
        "is missing",
    ),
    "motion that would push on": Fault(
        "max_run: 26s",
        "max_run: 90s",
        "90s",
        "zone_types.section.controls.screen.max_run",
        "could push for 90s",
    ),
    "scene that names what its zones lack": Fault(
        "volume: -38, mute: off",
        "volume: -38, chime: off",
        "chime: off",
        "scenes.dinner.values.chime",
        "no control of section named 'chime'",
    ),
    "point driven twice": Fault(
        "point: {channel: 2}",
        "point: {channel: +1}",
        "{channel: +1}",
        "bindings[1].point",
        "is driven already",
    ),
    "overlapping channels": Fault(
        "plover.volume, device: dmx, point: {channel: 2}",
        "plover.volume, device: dmx, point: {channel: 1, bits: 16}",
        "{channel: 1, bits",
        "bindings[1].point",
        "overlaps the one at",
    ),
    "address used twice": Fault(
        "desk: {driver: osc, host: 192.0.2.7, port: 9000}",
        "desk: {driver: e131, universe: 1}",
        "desk: {",
        "devices.desk",
        "at the same address",
    ),
    "partition that is driven": Fault(
        "between: [heron, plover], line",
        "between: [heron, plover], motor: relays, line",
        "motor",
        "partitions.heron-plover.motor",
        "a partition cannot be driven",
    ),
    "posted twice": Fault(
        "{zones: [plover], posted",
        "{zones: [ heron ], posted",
        "[ heron ]",
        "occupancy[1].zones",
        "posted number already",
    ),
    "written twice": Fault(
        "plover: {type: section,",
        "heron: {type : section,",
        "heron: {type :",
        "zones.heron",
        "defined twice",
    ),
    "override that masks nothing": Fault(
        "name: fire}}, values: {mute: on}",
        "name: fire}}, zones: [foyer], values: {volume: -60}",
        "fire: {",
        "overrides.fire",
        "masks no control",
        "warning",
    ),
    "line that is not on both outlines": Fault(
        "line: [[12, 0], [12, 15]]",
        "line: [[12, 0], [13, 15]]",
        "line: [[12, 0], [13",
        "partitions.heron-plover.line",
        "does not lie on the outline",
        "warning",
    ),
    "outlines that overlap": Fault(
        "foyer: {type: lobby, outline: [[0, 15]",
        "foyer: {type: lobby, outline: [[0, 14]",
        "outline: [[0, 14]",
        "zones.foyer.outline",
        "overlaps",
        "warning",
    ),
    "group without a lead": Fault(
        "lead_order: [heron-wall, plover-wall]",
        "lead_order: [heron-wall]",
        "plover-foyer: {",
        "partitions.plover-foyer",
        "nobody leads plover and foyer",
        "warning",
    ),
    "zone that no controller reaches": Fault(
        "foyer-wall: {home: foyer}",
        "steward: {home: heron, reach: [heron]}",
        "foyer: {type",
        "zones.foyer",
        "no controller is at home here",
        "warning",
    ),
    "number that is not posted for one room of all": Fault(
        "{zones: [heron, plover, foyer]",
        "{zones: [heron, foyer]",
        "occupancy:",
        "occupancy",
        "heron, plover, foyer as one room",
        "warning",
    ),
    "number that is not posted for some room": Fault(
        "{zones: [plover, foyer]",
        "{zones: [heron, foyer]",
        "occupancy:",
        "occupancy",
        "1 of the 2 rooms that some open walls make: plover + foyer",
        "note",
    ),
    "rule for unlike kinds": Fault(
        "chime: {kind: switch}",
        "program: {kind: switch}",
        "program: lead",
        "combining.on_combine.program",
        "a choice in heron and a switch in foyer",
        "warning",
    ),
    "rule for unlike units": Fault(
        "chime: {kind: switch}",
        'volume: {kind: level, unit: "%", range: [0, 100], travel: 3s}',
        "volume: quietest",
        "combining.on_combine.volume",
        "in dB in heron and in % in foyer",
        "warning",
    ),
    "rule without a lead that has the control": Fault(
        "on_combine: {program: lead",
        "on_combine: {chime: lead",
        "chime: lead",
        "combining.on_combine.chime",
        "the lead's home has no chime",
        "warning",
    ),
    "wall in a loop": Fault(
        "line: [[12, 0], [12, 15]]}",
        "line: [[12, 0], [12, 15]]}\n  hatch: {between: [plover, heron]}",
        "hatch",
        "partitions.hatch",
        "it does not part plover and heron",
        "note",
    ),
}


def write(folder: Path, text: str) -> Path:
    (folder / "venue.yaml").write_text(text, encoding="utf-8")
    return folder


def place(text: str, part: str) -> tuple[int, int]:
    """Line and column of the first place that has ``part``, counted from 1."""
    before = text[: text.index(part)]
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def test_the_venue_that_is_spoilt_below_is_sound(tmp_path: Path, capsys: Out) -> None:
    """Nothing is found in it, not even a note."""
    assert main(["check", "--json", str(write(tmp_path, SOUND))]) == 0
    assert json.loads(capsys.readouterr().out)["findings"] == []


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_planted_fault_is_found_where_it_is(fault: Fault, tmp_path: Path, capsys: Out) -> None:
    """With its key, file, line and column, what would be right, and the status that goes with it."""
    assert SOUND.count(fault.old) == 1
    text = SOUND.replace(fault.old, fault.planted)
    status = main(["check", "--json", str(write(tmp_path, text))])
    findings = json.loads(capsys.readouterr().out)["findings"]
    found = [one for one in findings if one["key"] == fault.key and fault.text in one["text"]]
    assert found, findings
    for one in found:
        assert (one["file"], one["line"], one["column"]) == (str(tmp_path / "venue.yaml"), *place(text, fault.at))
        assert one["severity"] == fault.severity
        assert one["right"]
    assert status == (0 if fault.severity == "note" else 1)
    assert {one["severity"] for one in findings} == {fault.severity}


@pytest.mark.parametrize("example", ["first", "tidewater"])
def test_the_examples_are_free_of_errors_and_warnings(example: str, capsys: Out) -> None:
    """Whoever starts from them starts clean."""
    assert main(["check", str(CONFIG / example)]) == 0
    assert "nothing found to correct" in capsys.readouterr().out


def test_findings_of_a_refused_venue_are_all_that_is_said(tmp_path: Path, capsys: Out) -> None:
    """There is nothing to arrange, and nothing to draw."""
    folder = write(tmp_path, SOUND.replace("gap: 300ms", "gap: 300"))
    assert main(["check", str(folder), "--pictures", str(tmp_path / "pictures")]) == 1
    out = capsys.readouterr().out.splitlines()
    assert len(out) == 2
    assert ": error: zone_types.section.controls.program.gap: " in out[0]
    assert not (tmp_path / "pictures").exists()


def test_pictures_are_drawn_into_the_folder_that_is_given(tmp_path: Path, capsys: Out) -> None:
    """And the text says how many."""
    folder = write(tmp_path, SOUND)
    assert main(["check", str(folder), "--pictures", str(tmp_path / "pictures")]) == 0
    assert "4 pictures and index.html are in" in capsys.readouterr().out
    assert len(list((tmp_path / "pictures").glob("*.svg"))) == 4
    assert NOT_SAFETY in (tmp_path / "pictures" / "index.html").read_text(encoding="utf-8")


def test_pictures_that_cannot_be_written_are_told(tmp_path: Path, capsys: Out) -> None:
    """Status 1 and a sentence."""
    folder = write(tmp_path, SOUND)
    assert main(["check", str(folder), "--pictures", str(folder / "venue.yaml")]) == 1
    assert capsys.readouterr().err.startswith("roomlink: the pictures cannot be written: ")


def test_the_caution_stays(tmp_path: Path, capsys: Out) -> None:
    """In the text and in the data, also where all is well."""
    folder = write(tmp_path, SOUND)
    main(["check", str(folder)])
    assert NOT_SAFETY in capsys.readouterr().out
    main(["check", "--json", str(folder)])
    assert NOT_SAFETY in json.loads(capsys.readouterr().out)["cautions"]


def test_another_seed_takes_other_arrangements_of_a_large_room(tmp_path: Path, capsys: Out) -> None:
    """And is told, so that it can be repeated."""
    bays = [f"b{n}" for n in range(17)]
    walls = "".join(f"  {a}-{b}: {{between: [bay-{a}, bay-{b}]}}\n" for a, b in pairwise(bays))
    text = (
        "venue: {id: long, timezone: UTC}\nzone_types: {bay: {controls: {mute: {kind: switch}}}}\n"
        f"zones: {{bay: {{type: bay, repeat: [{', '.join(bays)}]}}}}\npartitions:\n{walls}"
    )
    told = []
    for seed in ("1", "1", "2"):
        main(["check", "--json", "--seed", seed, str(write(tmp_path, text))])
        told.append(json.loads(capsys.readouterr().out))
    assert told[0]["seed"] == 1
    assert told[0] == told[1]
    assert told[0]["rooms"] != told[2]["rooms"]


class Terminal:
    """Standard error where a person looks on."""

    def __init__(self) -> None:
        self.said = ""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> None:
        self.said += text

    def flush(self) -> None:
        pass


def test_progress_is_shown_on_a_terminal_and_only_there(
    tmp_path: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On standard error: standard output stays for what is found."""
    folder = write(tmp_path, SOUND)
    main(["check", str(folder), "--pictures", str(tmp_path / "pictures")])
    out, err = capsys.readouterr()
    assert err == ""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    main(["check", str(folder), "--pictures", str(tmp_path / "pictures")])
    assert capsys.readouterr().out == out
    assert "pictures: 1 of 4" in terminal.said
    assert terminal.said.endswith("\r\x1b[K")
