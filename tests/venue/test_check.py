"""Findings beyond loading."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.drivers.registry import Registry
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue import Loaded, load
from roomlink.venue.check import check

CONFIG = Path(__file__).parents[2] / "config"
Spoilt = Callable[[str, Any], dict[str, Any]]


def test_a_sound_venue_has_no_findings(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Nothing to say."""
    assert check(venue(sound)) == []


@pytest.mark.parametrize("example", ["first", "tidewater"])
def test_the_examples_have_no_findings(example: str) -> None:
    """Whoever starts from them starts clean."""
    assert check(load(CONFIG / example, DriverRules(Registry.of(plugins=[])))) == []


def test_the_first_example_is_short() -> None:
    """It is shown whole where people begin."""
    assert len((CONFIG / "first" / "venue.yaml").read_text(encoding="utf-8").splitlines()) <= 30


def test_the_demo_is_four_sections_around_a_loop_of_walls_and_a_foyer() -> None:
    """Each section stands at two walls, each has its panel, and one controller roves."""
    spec = load(CONFIG / "tidewater").spec
    assert list(spec.zones) == ["heron", "plover", "tern", "curlew", "foyer"]
    assert {zone: len(walls) for zone, walls in spec.walls_of.items()} == {
        "heron": 2,
        "plover": 2,
        "tern": 2,
        "curlew": 2,
        "foyer": 0,
    }
    assert spec.controllers["steward"].feedback == "last-linked"
    assert spec.combining is not None
    assert spec.combining.blend == 1.0


@pytest.mark.parametrize(
    ("path", "value", "key", "text"),
    [
        ("controllers.foyer-wall", ..., "zones.foyer", "no controller is at home"),
        ("combining.lead_order", [], "partitions.heron-plover", "nobody leads heron and plover"),
        ("combining", ..., "partitions", "nothing combines"),
        (
            "partitions.heron-plover.line",
            [[12, 0], [12.5, 15]],
            "partitions.heron-plover.line",
            "not lie on",
        ),
        ("zones.foyer.outline", [[11, 14], [14, 14], [14, 20]], "zones.foyer.outline", "overlaps that of"),
        ("microphones", {"m": {"zone": "heron", "at": [13, 1]}}, "microphones.m.at", "outside heron"),
        ("loudspeakers", {"l": {"zone": "heron", "at": [1, 16]}}, "loudspeakers.l.at", "outside heron"),
        (
            "bindings.1",
            {
                "control": "heron.program",
                "device": "panel",
                "point": {"name": "in"},
                "values": {"lectern": 1, "laptop": 2},
            },
            "bindings.heron.program",
            "no value for plover/lectern, plover/laptop",
        ),
        ("occupancy", [], "zones", "no number of people is posted for any zone"),
        ("occupancy.2", {"zones": ["foyer", "heron"], "posted": 1}, "zones.foyer", "no number of people is posted"),
        ("occupancy.3", {"zones": ["plover", "foyer"], "posted": 1}, "occupancy", "heron, plover as one room"),
    ],
)
def test_what_people_would_not_expect_is_a_warning_at_its_place(
    venue: Callable[..., Loaded], spoilt: Spoilt, path: str, value: Any, key: str, text: str
) -> None:
    """The venue runs all the same."""
    found = check(venue(spoilt(path, value)))
    assert found
    assert {f.key for f in found} == {key}
    assert all(text in f.text and f.severity == "warning" and f.right and f.line for f in found)


def test_warnings_of_loading_are_among_the_findings(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """One list for whoever checks."""
    loaded = venue(spoilt("overrides.fire.input.active", "closed"))
    assert loaded.warnings
    assert check(loaded) == loaded.warnings
