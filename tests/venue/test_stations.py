"""The sections ``stations`` and ``locks``: what they resolve to, and what is told of mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import VenueFault
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue.check import check
from roomlink.venue.load import Loaded, load
from tests.api.harness import HARBOUR, write_venue

RULES = DriverRules(Registry.of(driver(Bench(lambda: 0.0)), plugins=()))
HEAD = """
devices: {pad: {driver: simulated}, other: {driver: simulated}}
stations:
  keypad:
    controller: heron-wall
    device: pad
"""
SCREEN = "      talkback: {kind: momentary}\n      screen: {kind: motion, travel: 20s, max_run: 26s}\n"


def loaded(tmp_path: Path, parts: str, more: str = "") -> Loaded:
    text = HARBOUR.replace("      talkback: {kind: momentary}\n", SCREEN)
    return load(write_venue(tmp_path, f"{text}{HEAD}{parts}{more}"), RULES)


def faults(tmp_path: Path, parts: str, more: str = "") -> str:
    with pytest.raises(VenueFault) as caught:
        loaded(tmp_path, parts, more)
    return str(caught.value)


def test_a_station_is_resolved_part_by_part(tmp_path: Path) -> None:
    """What a press does becomes a verb and a value; a lamp knows what it stands for."""
    made = loaded(
        tmp_path,
        """
    keys:
      laptop: {point: {name: k1}, control: program, press: laptop}
      quiet: {point: {name: k2}, control: mute, press: toggle}
      talk: {point: {name: k3}, control: talkback, press: hold}
      dinner: {point: {name: k4}, device: other, pressed: tap, each: true, scene: dinner}
      softer: {point: {name: k5}, control: volume, step: -1.5}
      none: {point: {name: k6}, control: program, press: none}
    knobs: {dial: {point: {name: n1}, control: volume, onto: [0, 1]}}
    lamps:
      laptop: {point: {name: l1}, control: program, is: laptop, mixed: blink}
      quiet: {point: {name: l2}, control: mute, on: 1, off: 0, mixed: 2}
      loud: {point: {name: l3}, control: volume, at_least: -12, mixed: blink}
      text: {point: {name: l4}, control: volume, mixed: mixed}
""",
    ).data["stations"]["keypad"]
    does = {name: (key["do"], key["value"], key["scene"]) for name, key in made["keys"].items()}
    assert does == {
        "laptop": ("set", "laptop", None),
        "quiet": ("toggle", None, None),
        "talk": ("press", None, None),
        "dinner": (None, None, "dinner"),
        "softer": ("step", -1.5, None),
        "none": ("set", "none", None),
    }
    assert (made["name"], made["debounce"], made["keys"]["dinner"]["device"]) == ("Keypad", 0.03, "other")
    shows = {name: (lamp["shows"], lamp.get("is")) for name, lamp in made["lamps"].items()}
    assert shows == {
        "laptop": ("is", "laptop"), "quiet": ("is", True), "loud": ("at-least", -12.0), "text": ("value", None),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ("    keys: {a: {point: {name: k}, control: program}}", "the key does nothing"),
        ("    keys: {a: {point: {name: k}, control: volume, press: raise, step: 1}}", "the key does press, step"),
        ("    keys: {a: {point: {name: k}, press: laptop}}", "'control' is missing"),
        ("    keys: {a: {point: {name: k}, control: bass, press: raise}}", "bass"),
        ("    keys: {a: {point: {name: k}, control: program, press: radio}}", "not an option"),
        ("    keys: {a: {point: {name: k}, control: mute, press: maybe}}", "or toggle"),
        ("    keys: {a: {point: {name: k}, control: volume, press: 7}}", "raise or lower"),
        ("    keys: {a: {point: {name: k}, control: talkback, press: on}}", "write hold"),
        ("    keys: {a: {point: {name: k}, control: screen, press: open}}", "runs no motion"),
        ("    keys: {a: {point: {name: k}, control: mute, step: 1}}", "no steps"),
        ("    keys: {a: {point: {name: k}, control: volume, step: 61}}", "no step"),
        ("    keys: {a: {point: {name: k}, each: true, control: talkback, press: hold}}", "never told"),
        ("    keys: {a: {point: {name: k}, scene: brunch}}", "brunch"),
        ("    keys: {a: {point: {name: k}, scene: dinner, control: mute}}", "leave control out"),
        ("    keys: {a: {point: {name: k}, device: pads, control: mute, press: on}}", "pads"),
        ("    keys: {a: {point: {nam: k}, control: mute, press: on}}", "nam"),
        ("    knobs: {a: {point: {name: k}, control: mute}}", "turns a level"),
        ("    knobs: {a: {point: {name: k}, control: volume, step: 1, onto: [0, 1]}}", "step: or onto:"),
        ("    knobs: {a: {point: {name: k}, control: volume, step: 0}}", "changes nothing"),
        ("    lamps: {a: {point: {name: k}, control: volume, is: 3}}", "at_least:"),
        ("    lamps: {a: {point: {name: k}, control: volume, at_least: 3}}", "outside the range"),
        ("    lamps: {a: {point: {name: k}, control: program, is: radio}}", "not an option"),
        ("    lamps: {a: {point: {name: k}, control: program, at_least: 1}}", "no level"),
        ("    lamps: {a: {point: {name: k}, control: mute, is: maybe}}", "neither on nor off"),
        ("    lamps: {a: {point: {name: k}, control: screen}}", "open or close"),
        (
            "    lamps: {a: {point: {name: k}, control: mute}, b: {point: {name: k}, control: mute}}",
            "is driven already",
        ),
        ("    lamp: {}", "unknown key 'lamp'"),
        ("    debounce: 2s\n    keys: {a: {point: {name: k}, control: mute, press: on}}", "is late"),
        ("", "the station has nothing"),
    ],
)
def test_mistakes_are_told_with_what_would_be_right(tmp_path: Path, parts: str, says: str) -> None:
    """At their place."""
    assert says in faults(tmp_path, parts)


def test_a_station_is_named_as_no_controller_and_works_one_that_there_is(tmp_path: Path) -> None:
    """Else nobody could tell who acted."""
    keys = "    keys: {a: {point: {name: k}, control: mute, press: on}}\n"
    more = (
        "  tern-wall: {controller: heron-wal, device: pad, keys: {a: {point: {name: k}, control: mute, press: on}}}\n"
    )
    told = faults(tmp_path, keys, more)
    assert "a controller has this name" in told
    assert "did you mean 'heron-wall'" in told


def test_what_may_surprise_at_a_station_is_a_finding(tmp_path: Path) -> None:
    """No lamp at all, and one that hides disagreement."""
    bare = "    keys: {a: {point: {name: k}, control: mute, press: on}}\n"
    lit = "  other:\n    controller: tern-wall\n    device: other\n    lamps: {m: {point: {name: l}, control: mute}}\n"
    found = [str(one) for one in check(loaded(tmp_path, bare, lit)) if "stations" in str(one)]
    assert len(found) == 2
    assert "it has no lamp" in found[0]
    assert "add mixed" in found[1]


def test_locks_are_ready_by_name(tmp_path: Path) -> None:
    """One without an end, and a panel that is expected of nobody who leads, are findings."""
    text = HARBOUR.replace("foyer-wall: {home: foyer,", "foyer-wall: {home: foyer, panel: expected,")
    locks = "locks:\n  speech: {zone: heron, controls: [volume], for: 4h}\n  shut: {controller: foyer-wall}\n"
    made = load(write_venue(tmp_path, text + locks))
    assert made.spec.locks["speech"].seconds == 14400.0
    assert made.spec.controllers["foyer-wall"].panel == "expected"
    found = "\n".join(str(one) for one in check(made))
    assert "locks.shut" in found
    assert "locks.speech" not in found
    assert "nobody misses its panel" in found


@pytest.mark.parametrize(
    ("lock", "says"),
    [
        ("{}", "does not say what it locks"),
        ("{zone: heron, controller: heron-wall}", "write zone: or controller:"),
        ("{zone: herron}", "did you mean 'heron'"),
        ("{controller: heron-wal}", "did you mean 'heron-wall'"),
        ("{zone: heron, controls: [bass]}", "bass"),
        ("{controller: foyer-wall, controls: [volume]}", "volume"),
        ("{zone: heron, for: 1000h}", "at most 24h"),
        ("{zone: heron, pin: 1234}", "unknown key 'pin'"),
    ],
)
def test_a_lock_with_a_mistake_is_refused(tmp_path: Path, lock: str, says: str) -> None:
    """A PIN is never written in a configuration."""
    with pytest.raises(VenueFault) as caught:
        load(write_venue(tmp_path, f"{HARBOUR}locks: {{one: {lock}}}\n"))
    assert says in str(caught.value)
