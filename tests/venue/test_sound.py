"""The section sound, microphones and loudspeakers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]


def test_without_the_section_there_are_plain_defaults(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Air of 20 °C, and 6 dB less of a microphone in its own zone."""
    data = venue(sound).data
    assert data["sound"] == {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None}
    assert (data["microphones"], data["loudspeakers"]) == ({}, {})


def test_places_are_resolved(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """With a name for people."""
    data = venue(spoilt("microphones.far-lectern", {"zone": "heron", "at": [6, 2]})).data
    assert data["microphones"] == {"far-lectern": {"name": "Far lectern", "zone": "heron", "at": [6.0, 2.0]}}


@pytest.mark.parametrize(
    ("path", "value", "text", "right"),
    [
        ("sound.temperature", 60, "60 °C is no air", "-20 to 50"),
        ("sound.own_zone_reduction", 61, "61 dB is silence", "0 to 60"),
        ("sound.reference", "lectern", "no microphone named 'lectern'", "no microphones"),
        ("microphones.lectern", {"zone": "tern", "at": [0, 0]}, "no zone named 'tern'", "there is heron"),
        ("loudspeakers.ceiling", {"zone": "heron", "at": [0]}, "is not a point", "in metres"),
    ],
)
def test_what_cannot_be_is_refused(
    spoilt: Spoilt, faults: Callable[..., list[Finding]], path: str, value: Any, text: str, right: str
) -> None:
    """At its place."""
    (found,) = faults(spoilt(path, value))
    assert found.key.startswith(path)
    assert text in found.text
    assert right in found.right
