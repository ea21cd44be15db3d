"""``roomlink check`` as a whole: planted faults, exit statuses, the examples."""

from __future__ import annotations

import json
import sys
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
"""


class Fault(NamedTuple):
    """``planted`` takes the place of ``old``; what is found stands at ``at``, a part of the line that has ``planted``."""

    old: str
    planted: str
    at: str
    key: str
    text: str
    severity: str = "error"


FAULTS = {
    "unknown key": Fault(
        "heron-wall: {home: heron}", "heron-wall: {home: heron, colour: red}", "colour", "controllers.heron-wall.colour",
        "colour",
    ),
    "dangling name": Fault(
        "plover-wall: {home: plover}", "plover-wall: {home: plovr}", "plovr", "controllers.plover-wall.home",
        "no zone named 'plovr'",
    ),
    "unit without a unit": Fault(
        "gap: 300ms", "gap: 300", "300}", "zone_types.section.controls.program.gap", "300",
    ),
    "start out of range": Fault(
        "start: -30", "start: 30", "30}", "zone_types.section.controls.volume.start", "30",
    ),
    "motion without limits": Fault(
        "travel: 20s, max_run: 26s", "travel: 20s", "screen", "zone_types.section.controls.screen", "max_run",
    ),
    "motion that would push on": Fault(
        "max_run: 26s", "max_run: 90s", "90s", "zone_types.section.controls.screen.max_run", "could push for 90s",
    ),
    "scene that names what its zones lack": Fault(
        "volume: -38, mute: off", "volume: -38, chime: off", "chime", "scenes.dinner.values.chime",
        "no control of section named 'chime'",
    ),
    "point driven twice": Fault(
        "point: {channel: 2}", "point: {channel: 1}", "{channel: 1}", "bindings[1].point", "is driven already",
    ),
    "overlapping channels": Fault(
        "plover.volume, device: dmx, point: {channel: 2}", "plover.volume, device: dmx, point: {channel: 1, bits: 16}",
        "{channel: 1, bits", "bindings[1].point", "overlaps the one at",
    ),
    "address used twice": Fault(
        "desk: {driver: osc, host: 192.0.2.7, port: 9000}", "desk: {driver: e131, universe: 1}", "desk", "devices.desk",
        "at the same address",
    ),
    "partition that is driven": Fault(
        "control: plover.volume", "control: heron-plover.open", "heron-plover.open", "bindings[1].control", "heron-plover",
    ),
    "posted twice": Fault(
        "{zones: [plover], posted", "{zones: [heron], posted", "[heron]", "occupancy[1].zones", "posted number already",
    ),
    "written twice": Fault(
        "plover: {type: section,", "heron: {type: section,", "heron", "zones.heron", "defined twice",
    ),
    "override that masks nothing": Fault(
        "name: fire}}, values: {mute: on}", "name: fire}}, zones: [foyer], values: {volume: -60}", "fire",
        "overrides.fire", "masks no control", "warning",
    ),
    "line that is not on both outlines": Fault(
        "line: [[12, 0], [12, 15]]", "line: [[12, 0], [13, 15]]", "line", "partitions.heron-plover.line",
        "does not lie on the outline", "warning",
    ),
    "outlines that overlap": Fault(
        "foyer: {type: lobby, outline: [[0, 15]", "foyer: {type: lobby, outline: [[0, 14]", "outline",
        "zones.foyer.outline", "overlaps", "warning",
    ),
    "group without a lead": Fault(
        "  lead_order: [heron-wall, plover-wall]", "  lead_order: [foyer-wall]", "", "partitions.heron-plover",
        "nobody leads heron and plover", "warning",
    ),
    "zone that no controller reaches": Fault(
        "  foyer-wall: {home: foyer}", "  steward: {home: heron, reach: [heron]}", "", "zones.foyer",
        "no controller is at home here", "warning",
    ),
    "number that is not posted": Fault(
        "{zones: [heron, plover], posted: 330}", "{zones: [heron, foyer], posted: 330}", "", "occupancy",
        "heron, plover as one room", "warning",
    ),
    "rule for unlike kinds": Fault(
        "plover: {type: section,", "plover: {type: lobby, controls: {program: {kind: switch}},", "", "combining.on_combine.program",
        "a choice in heron and a switch in plover", "warning",
    ),
    "rule without a lead that has it": Fault(
        "lead_order: [heron-wall, plover-wall]\n  on_combine: {program: lead,",
        "lead_order: [heron-wall, plover-wall]\n  on_combine: {chime: lead,", "", "combining.on_combine.chime", "the lead's home has no chime", "warning",
    ),
    "wall in a loop": Fault(
        "line: [[12, 0], [12, 15]]}", "line: [[12, 0], [12, 15]]}\n  pass: {between: [plover, heron]}", "pass",
        "partitions.pass", "it does not part plover and heron", "note",
    ),
}  # fmt: skip


def write(folder: Path, text: str) -> Path:
    (folder / "venue.yaml").write_text(text, encoding="utf-8")
    return folder
