"""``runner``, ``stage`` and ``stand_in``: scenarios on virtual time, with the real engine and the real outputs."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from roomlink.core import leading
from roomlink.drivers.registry import Registry
from roomlink.rehearsal.junit import junit
from roomlink.rehearsal.runner import Result, rehearse, run_file
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.load import Loaded, load

VENUE = """
venue: {id: pier, name: The Pier, timezone: Europe/Oslo}
zone_types:
  room:
    controls:
      program: {kind: choice, options: [lectern, laptop], sources: true, gap: 300ms}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 6s, start: -30, ceiling: -6}
      mute: {kind: switch, start: on}
      talkback: {kind: momentary}
zones:
  gull: {type: room, controls: {screen: {kind: motion, travel: 10s, max_run: 13s, dead_time: 1s}}}
  auk: {type: room, controls: {lamp: {kind: switch, scope: local}}}
partitions:
  gull-auk: {between: [gull, auk], contacts: {closed: {device: inputs, point: {name: end}}}}
controllers:
  gull-panel: {home: gull}
  auk-panel: {home: auk, feedback: majority}
combining:
  lead_order: [gull-panel]
  others: lock
  blend: 1s
  on_combine: {volume: quietest, program: lead}
  on_separate: {volume: restore, program: none}
devices: {mixer: {driver: simulated}, relays: {driver: simulated}, inputs: {driver: simulated}}
supplies: {rack: {stagger: 500ms}}
bindings:
  - {control: "{name}.volume", device: mixer, point: {name: "{name} gain"}, repeat: [gull, auk]}
  - {control: gull.mute, device: mixer, point: {name: gull mute}}
  - control: gull.screen
    class: motion
    device: relays
    open: {name: down}
    close: {name: up}
    on_loss: off
  - {control: auk.lamp, class: power, device: relays, point: {name: lamp}, supply: rack, min_off: 10s, on_loss: holds}
overrides:
  fire: {kind: life-safety, input: {device: inputs, point: {name: fire}}, zones: all, values: {mute: on}}
"""

Rehearsed = Callable[[str], Result]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    venue = tmp_path / "pier"
    (venue / "rehearsals").mkdir(parents=True)
    (venue / "venue.yaml").write_text(VENUE)
    return venue


@pytest.fixture
def loaded(folder: Path) -> Loaded:
    return load(folder, DriverRules(Registry.of()))


@pytest.fixture
def rehearsed(folder: Path, loaded: Loaded) -> Rehearsed:
    """Run the steps of a scenario; its name and start are the same for all."""

    def run(steps: str) -> Result:
        path = folder / "rehearsals" / "evening.yaml"
        path.write_text("rehearsal: {name: Evening, start: 2026-03-14 18:00}\nsteps:\n" + steps)
        return run_file(path, loaded)

    return run


def test_an_evening_as_expected_passes(rehearsed: Rehearsed) -> None:
    """Controls, faces, groups, links, leads, locks, walls, devices, alarms, overrides and refusals."""
    result = rehearsed(
        """
  - {at: 5s, do: [{set: gull.volume, value: -20}, {set: gull.program, value: laptop}], expect: {groups: [], alarms: []}}
  - {at: 10s, do: {turn: inputs, point: end, value: off}}
  - at: 12s
    expect:
      groups: [[gull, auk]]
      links: {gull-panel: [gull, auk], auk-panel: [auk]}
      lead: {auk: gull-panel}
      locked: {auk-panel: gull-panel, gull-panel: none}
      walls: {gull-auk: {position: open, trust: sensed, flagged: off}}
      gull.volume: {value: -20, moving: on}
      auk.program: gull/laptop
  - at: 12.5s
    expect: {devices: {mixer: {gull gain: {value: -25, within: 0.01}, auk gain: -30}}}
  - {at: 13s, do: {set: auk-panel.volume, value: -10}, expect: {refused: locked, gull.volume: {value: -30}}}
  - {at: 14s, do: {set: auk.volume, value: -12}}
  - {at: 15s, expect: {gull-panel.volume: {decided: off, mixed: on, outliers: [auk, gull]}}}
"""
    )
    assert result.passed, str(result)
    assert str(result) == "ok   Evening: 7 steps, 15 s"


def test_what_differs_is_told_with_its_place_and_time(rehearsed: Rehearsed) -> None:
    """What was expected, what was seen, and what was done there."""
    result = rehearsed(
        """  - at: 90s
    do: {set: gull.volume, value: -20}
    expect: {gull.volume: -21, auk.volume: -30, groups: [[gull, auk]]}
"""
    )
    (failure,) = result.failures
    assert (failure.place.line, failure.clock) == (3, "18:01:30.000")
    assert str(failure).splitlines()[0].endswith("evening.yaml:3:5: at 18:01:30.000, after: set gull.volume to -20")
    assert [(d.what, d.expected, d.seen) for d in failure.differences] == [
        ("gull.volume", {"value": -21}, {"value": -20.0}),
        ("groups", [["gull", "auk"]], []),
    ]


def test_a_refusal_that_nobody_expected_is_a_failure_and_so_is_one_that_stays_out(rehearsed: Rehearsed) -> None:
    """With the sentence that a person would get."""
    result = rehearsed(
        """
  - {do: {set: gull.volume, value: 12}}
  - {do: {unlink: gull-panel}}
  - {do: {set: gull-panel.volume, value: -12}, expect: {refused: nothing-linked}}
  - {do: {set: auk-panel.volume, value: -12}, expect: {refused: nothing-linked}}
"""
    )
    assert [[d.seen for d in f.differences] for f in result.failures] == [
        ["bad-value: value: 12 is not allowed: volume takes a number from -60 to 0 dB"],
        ["carried out"],
    ]


def test_devices_fail_and_come_back_as_they_do(rehearsed: Rehearsed) -> None:
    """Unplugged: an alarm, nothing arrives. Plugged in: driven to what counts by then. Turned by hand: followed."""
    result = rehearsed(
        """
  - {at: 5s, expect: {devices: {mixer: {gull gain: -30}}, up: {mixer: on}}}
  - {at: 10s, do: [{unplug: mixer, power: on}, {set: gull.volume, value: -12}]}
  - {after: 1s, expect: {alarms: [device-lost/mixer], up: {mixer: off}, devices: {mixer: {gull gain: none}}}}
  - {at: 20s, do: {plug: mixer}}
  - {after: 3s, expect: {alarms: [], devices: {mixer: {gull gain: -12}}}}
  - {at: 30s, do: {turn: mixer, point: gull gain, value: -18}, expect: {gull.volume: -18}}
  - {at: 40s, do: [{slow: mixer, delay: 2s}, {set: gull.volume, value: -24}]}
  - {after: 1s, expect: {devices: {mixer: {gull gain: -18}}}}
  - {after: 2s, expect: {devices: {mixer: {gull gain: -24}}}}
  - {at: 50s, do: [{slow: mixer, delay: 0s}, {refuse: mixer, point: gull gain}, {set: gull.volume, value: -30}]}
  - {after: 1s, do: [{accept: mixer, point: gull gain}, {set: gull.volume, value: -36}]}
  - {after: 1s, expect: {devices: {mixer: {gull gain: -36}}}}
"""
    )
    assert result.passed, str(result)


def test_power_and_motion_stay_within_their_gates(rehearsed: Rehearsed) -> None:
    """Disarmed: not sent. Armed: one direction, the rest before the other, the lamp's least time off."""
    result = rehearsed(
        """
  - {at: 1s, do: {open: gull.screen, by: kim}, expect: {devices: {relays: {down: none}}}}
  - {at: 2s, do: {stop: gull.screen, by: kim}}
  - {at: 5s, do: [{arm: gull.screen, who: Kim}, {arm: auk.lamp, who: Kim}]}
  - {at: 10s, do: {open: gull.screen, by: kim}}
  - {after: 100ms, expect: {devices: {relays: {down: on, up: off}}}}
  - {at: 12s, do: {close: gull.screen, by: kim}, expect: {devices: {relays: {down: off}}}}
  - {after: 500ms, expect: {devices: {relays: {down: off, up: off}}}}
  - {after: 700ms, expect: {devices: {relays: {down: off, up: on}}}}
  - {at: 15s, do: {silent: kim}, expect: {gull.screen: none, devices: {relays: {down: off, up: off}}}}
  - {at: 20s, do: {set: auk.lamp, value: on}}
  - {after: 1s, expect: {devices: {relays: {lamp: on}}}}
  - {at: 30s, do: {set: auk.lamp, value: off}}
  - {after: 1s, do: {set: auk.lamp, value: on}, expect: {devices: {relays: {lamp: off}}}}
  - {at: 41s, expect: {devices: {relays: {lamp: on}}}}
"""
    )
    assert result.passed, str(result)


def test_the_fire_panel_a_restart_and_a_reload_can_be_rehearsed(folder: Path, rehearsed: Rehearsed) -> None:
    """An open contact masks; what was held is let go; a restart keeps values; another configuration counts at once."""
    other = folder / "rehearsals" / "wider"
    other.mkdir()
    (other / "venue.yaml").write_text(VENUE.replace("range: [-60, 0]", "range: [-80, 0]"))
    result = rehearsed(
        """
  - {at: 1s, do: [{set: gull.mute, value: off}, {press: gull-panel.talkback, by: kim}], expect: {gull.talkback: on}}
  - at: 5s
    do: {turn: inputs, point: fire, value: off}
    expect:
      overrides: [fire]
      gull.talkback: off
      gull.mute: {value: on, overridden: fire}
      devices: {mixer: {gull mute: on}}
  - {at: 6s, do: {set: gull.volume, value: -12}, expect: {refused: overridden}}
  - {at: 9s, do: {turn: inputs, point: fire, value: on}, expect: {overrides: [], gull.mute: on}}
  - {at: 10s, do: {set: gull.volume, value: -12, over: 4s}}
  - {at: 12s, do: {restart: 10s}, expect: {gull.volume: -12}}
  - {after: 1s, expect: {devices: {mixer: {gull gain: -12}}, groups: [], up: {mixer: on}}}
  - {at: 30s, do: {set: gull.volume, value: -70}, expect: {refused: bad-value}}
  - {at: 31s, do: [{reload: wider}, {set: gull.volume, value: -70}], expect: {gull.volume: -70}}
"""
    )
    assert result.passed, str(result)


def test_links_joins_scenes_and_pins_can_be_rehearsed(rehearsed: Rehearsed) -> None:
    """Every verb of the table does what it says."""
    result = rehearsed(
        """
  - {do: [{link: gull-panel, to: auk}, {set: gull-panel.volume, value: -12}], expect: {auk.volume: -12}}
  - {after: 1s, do: [{set: auk.volume, value: -20}, {align: gull-panel.volume, value: -24}], expect: {auk.volume: -24}}
  - {after: 1s, do: [{capture: quiet, zones: [gull]}], expect: {refused: changed}}
  - {after: 1s, do: {unlink: gull-panel, from: auk}, expect: {links: {gull-panel: [gull]}}}
  - {after: 1s, do: {pin: gull-auk, position: open, for: 10s}, expect: {groups: [[gull, auk]]}}
  - {after: 1s, do: {unpin: gull-auk}, expect: {groups: []}}
  - {after: 1s, do: {join: gala, zones: [gull, auk]}, expect: {groups: [[gull, auk]]}}
  - {after: 1s, do: {part: gala}, expect: {groups: []}}
  - {after: 1s, do: {report: gull.volume, value: -7, by: mixer}, expect: {gull.volume: -7}}
  - {after: 1s, do: {raise: gull.volume, for: 500ms}}
  - {after: 1s, expect: {gull.volume: -6}}
  - {after: 1s, do: [{device: mixer, up: off, why: tried}], expect: {alarms: [device-lost/mixer]}}
  - {after: 1s, do: [{disarm: auk.lamp}, {stop-motion: tried}]}
  - {after: 1s, do: {override: fire, active: on}, expect: {overrides: [fire]}}
"""
    )
    assert result.passed, str(result)


@pytest.mark.parametrize(
    "contacts",
    [
        ", contacts: {closed: {device: inputs, point: {name: end}}}",
        ", contacts: {closed: {device: inputs, point: {name: end}}, stacked: {device: inputs, point: {name: far}}}",
        ", report: {device: inputs, point: {name: wall}, values: {open: 1, closed: 0}}",
        ", contacts: simulated",
        "",
    ],
)
def test_walls_stand_at_first_as_the_scenario_says(folder: Path, contacts: str) -> None:
    """However they are told of: by one or two contacts, by a report, simulated, or by people."""
    text = VENUE.replace(", contacts: {closed: {device: inputs, point: {name: end}}}", contacts)
    assert contacts in text
    (folder / "venue.yaml").write_text(text)
    path = folder / "rehearsals" / "evening.yaml"
    path.write_text(
        "rehearsal: {walls: {gull-auk: open}}\nsteps: [{at: 5s, expect: {groups: [[gull, auk]], overrides: []}}]"
    )
    result = run_file(path, load(folder, DriverRules(Registry.of())))
    assert result.passed, str(result)


def test_every_entry_of_a_rehearsal_is_held_to_the_rules(rehearsed: Rehearsed, monkeypatch: pytest.MonkeyPatch) -> None:
    """A broken rule fails the scenario though nobody expected anything there."""
    monkeypatch.setattr(leading, "_settle_links", lambda draft, controller, group: None)
    result = rehearsed("  - {at: 5s, do: {wall: gull-auk, position: open}}\n  - {at: 10s}\n")
    (failure,) = result.failures
    assert failure.differences[0].what == "rule links"
    assert failure.clock == "18:00:07.000"


def test_twelve_hours_with_two_hundred_steps_take_seconds(rehearsed: Rehearsed) -> None:
    """Nothing ticks between the steps."""
    steps = [
        f"  - {{at: {216 * n}s, do: [{{wall: gull-auk, position: {('open', 'closed')[n % 2]}}},"
        f" {{set: gull.volume, value: {-20 - n % 30}, over: 60s}}], expect: {{groups: []}}}}"
        for n in range(1, 201, 2)
    ]

    lines = [
        line for n, one in enumerate(steps) for line in (one, f"  - {{at: {432 * n + 300}s, expect: {{alarms: []}}}}")
    ]
    began = time.process_time()
    result = rehearsed("\n".join(lines) + "\n")
    assert (result.steps, round(result.seconds / 3600)) == (200, 12)
    assert time.process_time() - began < 5.0


def test_a_venue_s_rehearsals_run_one_after_the_other_and_make_junit_xml(folder: Path) -> None:
    """A scenario with findings is an error, one with differences a failure; the others run."""
    scenarios = folder / "rehearsals"
    (scenarios / "a.yaml").write_text("steps: [{do: {set: gull.volume, value: -20}}]")
    (scenarios / "b.yaml").write_text("steps: [{do: {set: gull.volume, value: -20}, expect: {gull.volume: -1}}]")
    (scenarios / "c.yaml").write_text("steps: [{do: {set: gull.volum, value: -20}}]")
    told: list[str] = []
    results = rehearse(folder, told=lambda result: told.append(result.name))
    assert told == ["a", "b", "c"]
    assert [result.passed for result in results] == [True, False, False]
    suite = ElementTree.fromstring(junit(results, "pier"))
    assert {k: suite.attrib[k] for k in ("tests", "failures", "errors")} == {
        "tests": "3",
        "failures": "1",
        "errors": "1",
    }
    assert [[child.tag for child in case] for case in suite] == [[], ["failure"], ["error"]]
    data: list[dict[str, Any]] = [result.as_data() for result in results]
    assert data[1]["failures"][0]["differences"] == [
        {"what": "gull.volume", "expected": {"value": -1}, "seen": {"value": -20.0}}
    ]
    assert "volum" in data[2]["findings"][0]["text"]


def test_the_demo_s_rehearsals_pass() -> None:
    """A morning, a turn and a fire in Tidewater Hall."""
    results = rehearse(Path(__file__).parents[2] / "config" / "tidewater")
    assert len(results) >= 3
    assert all(result.passed for result in results), "\n".join(map(str, results))
