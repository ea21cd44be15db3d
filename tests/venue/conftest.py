"""A small sound venue to spoil in one place, and ways to load it."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.drivers.registry import Registry
from roomlink.errors import VenueFault
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue import Finding, Loaded, load

SOUND: dict[str, Any] = {
    "venue": {"id": "harbour", "timezone": "America/Halifax"},
    "zone_types": {
        "section": {
            "controls": {
                "program": {"kind": "choice", "options": ["lectern", "laptop"], "sources": True, "gap": "300ms"},
                "volume": {"kind": "level", "unit": "dB", "range": [-60, 0], "travel": "3s", "ceiling": -6},
                "mute": {"kind": "switch", "start": "on"},
                "house": {"kind": "level", "unit": "%", "range": [0, 100], "travel": "3s", "scope": "local"},
                "talkback": {"kind": "momentary"},
            }
        },
        "lobby": {"controls": {"mute": {"kind": "switch"}}},
    },
    "zones": {
        "heron": {
            "type": "section",
            "outline": [[0, 0], [12, 0], [12, 15], [0, 15]],
            "controls": {
                "screen": {"kind": "motion", "travel": "20s", "max_run": "26s"},
                "lamp": {"kind": "switch", "scope": "local"},
            },
        },
        "plover": {"type": "section", "outline": [[12, 0], [24, 0], [24, 15], [12, 15]]},
        "foyer": {"type": "lobby"},
    },
    "partitions": {"heron-plover": {"between": ["heron", "plover"], "line": [[12, 0], [12, 15]]}},
    "controllers": {
        "heron-wall": {"home": "heron"},
        "plover-wall": {"home": "plover"},
        "foyer-wall": {"home": "foyer"},
    },
    "combining": {
        "lead_order": ["heron-wall", "plover-wall"],
        "others": "mirror",
        "on_combine": {"program": "lead", "volume": "quietest", "mute": "lead"},
        "on_separate": {"program": "none", "volume": "restore", "mute": "on"},
    },
    "scenes": {"dinner": {"type": "section", "values": {"volume": -38, "mute": "off", "program": "none"}}},
    "occupancy": [
        {"zones": ["heron"], "posted": 160},
        {"zones": ["plover"], "posted": 160},
        {"zones": ["foyer"], "posted": 60},
        {"zones": ["heron", "plover"], "posted": 330},
    ],
    "devices": {"dmx-1": {"driver": "e131", "universe": 1}, "panel": {"driver": "simulated"}},
    "bindings": [{"control": "heron.house", "device": "dmx-1", "point": {"channel": 1}, "curve": "square"}],
    "overrides": {
        "fire": {
            "kind": "life-safety",
            "input": {"device": "panel", "point": {"name": "fire"}},
            "values": {"mute": "on"},
        }
    },
}


def _spoilt(path: str, value: Any) -> dict[str, Any]:
    tree = copy.deepcopy(SOUND)
    around: Any = tree
    *way, last = path.split(".")
    for part in way:
        around = around[int(part)] if isinstance(around, list) else around.setdefault(part, {})
    if value is ...:
        del around[last]
    elif isinstance(around, list):
        around[int(last) : int(last) + 1] = [value]
    else:
        around[last] = value
    return tree


@pytest.fixture
def spoilt() -> Callable[[str, Any], dict[str, Any]]:
    """The sound venue with one value replaced; the path is dotted, numbers are indices, ``...`` takes the key away."""
    return _spoilt


@pytest.fixture
def sound() -> dict[str, Any]:
    """The sound venue."""
    return copy.deepcopy(SOUND)


@pytest.fixture
def venue(tmp_path: Path) -> Callable[..., Loaded]:
    """Load a venue from a tree (written as JSON, which is YAML) or from texts by file name."""

    def run(tree: dict[str, Any] | None = None, /, **texts: str) -> Loaded:
        if tree is not None:
            texts = {"venue": json.dumps(tree)}
        for name, text in texts.items():
            (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
        return load(tmp_path)

    return run


@pytest.fixture
def wired(tmp_path: Path) -> Callable[[dict[str, Any]], Loaded]:
    """Load a venue from a tree, with devices and points proved by the drivers."""

    def run(tree: dict[str, Any]) -> Loaded:
        (tmp_path / "venue.yaml").write_text(json.dumps(tree), encoding="utf-8")
        return load(tmp_path, DriverRules(Registry.of(plugins=[])))

    return run


@pytest.fixture
def wiring_faults(wired: Callable[[dict[str, Any]], Loaded]) -> Callable[[dict[str, Any]], list[Finding]]:
    """The findings for which a venue is refused when the drivers look too."""

    def run(tree: dict[str, Any]) -> list[Finding]:
        with pytest.raises(VenueFault) as caught:
            wired(tree)
        return list(caught.value.findings)

    return run


@pytest.fixture
def faults(venue: Callable[..., Loaded]) -> Callable[..., list[Finding]]:
    """The findings for which a venue is refused."""

    def run(tree: dict[str, Any] | None = None, /, **texts: str) -> list[Finding]:
        with pytest.raises(VenueFault) as caught:
            venue(tree, **texts)
        return list(caught.value.findings)

    return run
