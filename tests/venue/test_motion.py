"""The control kind motion."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded
from roomlink.venue.check import check

Spoilt = Callable[[str, Any], dict[str, Any]]
SCREEN = "zones.heron.controls.screen"


def test_a_motion_is_resolved_with_its_times_in_seconds(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """It rests a second, runs only while held, and stays with its zone, if nothing else is said."""
    assert venue(sound).data["zones"]["heron"]["controls"]["screen"] == {
        "kind": "motion",
        "travel": 20.0,
        "max_run": 26.0,
        "dead_time": 1.0,
        "hold": True,
        "scope": "local",
        "name": "Screen",
        "section": "",
    }


@pytest.mark.parametrize(
    ("member", "value", "text", "right"),
    [
        ("max_run", ..., "'max_run' is missing", "common practice"),
        ("max_run", "19s", "before the end of its travel of 20s", "20s to 40s"),
        ("max_run", "41s", "push for 41s", "20s to 40s"),
        ("max_run", "0s", "no time at all", "above 0"),
        ("travel", ..., "'travel' is missing", "as measured"),
        ("travel", 20, "no unit of time", "write 20s"),
        ("dead_time", "400ms", "0.4s is no rest", "500ms to 10s"),
        ("dead_time", "11s", "11s is no rest", "500ms to 10s"),
        ("hold", "yes", "neither true nor false", "true or false"),
        ("speed", 1, "unknown key 'speed'", "max_run"),
    ],
)
@pytest.mark.parametrize("at", [SCREEN, "zone_types.section.controls.shade"])
def test_a_motion_without_sound_limits_is_refused(
    spoilt: Spoilt, faults: Callable[..., list[Finding]], at: str, member: str, value: Any, text: str, right: str
) -> None:
    """In a type as in a zone of its own."""
    motion = {"kind": "motion", "travel": "20s", "max_run": "26s", "dead_time": "1s"}
    if value is ...:
        del motion[member]
    else:
        motion[member] = value
    (found,) = faults(spoilt(at, motion))
    assert text in found.text
    assert right in found.right
    assert found.key.startswith(at)


@pytest.mark.parametrize(("max_run", "dead_time"), [("20s", "500ms"), ("40s", "10s")])
def test_the_ends_of_its_limits_are_allowed(
    venue: Callable[..., Loaded], spoilt: Spoilt, max_run: str, dead_time: str
) -> None:
    """From travel to twice travel, from half a second to ten."""
    motion = {"kind": "motion", "travel": "20s", "max_run": max_run, "dead_time": dead_time}
    assert venue(spoilt(SCREEN, motion)).warnings == []


def test_a_motion_that_nobody_holds_is_a_warning_with_the_caution(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """It is allowed, and said plainly."""
    loaded = venue(spoilt(f"{SCREEN}.hold", False))
    (found,) = check(loaded)
    assert (found.key, found.severity) == (f"{SCREEN}.hold", "warning")
    assert "ISO 14118:2017 Safety of machinery — Prevention of unexpected start-up" in found.text
    assert loaded.data["zones"]["heron"]["controls"]["screen"]["hold"] is False
