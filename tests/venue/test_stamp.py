"""Stamping zones, partitions and controllers out of one entry."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from roomlink.limits import NAME_CHARS_MAX
from roomlink.venue import Finding, Loaded

HEAD = """\
venue: {id: bays, timezone: UTC}
zone_types: {room: {controls: {volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s}}}}
"""


def test_a_zone_is_stamped_once_for_each_word_in_venue_order(venue: Callable[..., Loaded]) -> None:
    """Names are filled in, outlines step on, and the rest is the same."""
    loaded = venue(
        venue=HEAD
        + "zones:\n"
        + "  hall: {type: room}\n"
        + "  bay: {type: room, repeat: [east, mid-west, 3], name: '{Name} bay ({name})', step: [5, 0.1],\n"
        + "        outline: [[0, 0], [5, 0], [5, 9]]}\n"
        + "  yard: {type: room, repeat: [a]}\n"
    )
    zones = loaded.data["zones"]
    assert list(zones) == ["hall", "bay-east", "bay-mid-west", "bay-3", "yard-a"]
    assert [zone["name"] for zone in zones.values()] == [
        "Hall",
        "East bay (east)",
        "Mid west bay (mid-west)",
        "3 bay (3)",
        "Yard a",
    ]
    assert zones["bay-east"]["outline"] == [[0.0, 0.0], [5.0, 0.0], [5.0, 9.0]]
    assert zones["bay-3"]["outline"] == [[10.0, 0.2], [15.0, 0.2], [15.0, 9.2]]


def test_walls_and_controllers_are_stamped_too(venue: Callable[..., Loaded]) -> None:
    """The words go into their zones and names, and lines step on."""
    loaded = venue(
        venue=HEAD
        + "zones: {hall: {type: room}, bay: {type: room, repeat: [east, west]}}\n"
        + "partitions: {door: {repeat: [east, west], between: [hall, 'bay-{name}'], name: '{Name} door',\n"
        + "  line: [[0, 0], [5, 0]], step: [5, 0]}}\n"
        + "controllers: {panel: {repeat: [east, west], home: 'bay-{name}', reach: [hall, 'bay-{name}'],\n"
        + "  name: '{Name} panel'}}\n"
        + "combining: {lead_order: [panel-west, panel-east]}\n"
    )
    assert loaded.spec.partitions["door-west"].between == ("hall", "bay-west")
    assert loaded.data["partitions"]["door-west"]["line"] == [[5.0, 0.0], [10.0, 0.0]]
    assert loaded.data["partitions"]["door-east"]["name"] == "East door"
    assert loaded.spec.controllers["panel-west"].home == "bay-west"
    assert loaded.spec.controllers["panel-west"].reach == ("hall", "bay-west")
    assert list(loaded.spec.lead_rank) == ["panel-west", "panel-east"]


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ("bay: {type: room, repeat: []}", "nothing to repeat"),
        ("bay: {type: room, repeat: [east, east]}", "listed twice"),
        ("bay: {type: room, repeat: [east], name: '{nam}'}", "{nam} stands for nothing"),
        ("bay: {type: room, name: '{name}'}", "stands for nothing without repeat"),
        ("bay: {type: room, step: [1, 1]}", "step stands for nothing without repeat"),
        ("bay: {type: room, repeat: [east]}, bay-east: {type: room}", "zones.bay-east is defined twice"),
        ("a: {type: room, repeat: [b-c]}, a-b: {type: room, repeat: [c]}", "zones.a-b-c is defined twice"),
        (f"bay: {{type: room, repeat: [{'x' * NAME_CHARS_MAX}]}}", "is too long"),
    ],
)
def test_what_cannot_be_stamped_is_refused(faults: Callable[..., list[Finding]], entry: str, text: str) -> None:
    """With the place of the entry."""
    found = [f for f in faults(venue=f"{HEAD}zones: {{hall: {{type: room}}, {entry}}}\n") if text in f.text]
    assert len(found) == 1
    assert found[0].line == 3


def test_a_stamp_that_names_no_zone_is_told_once_for_each(faults: Callable[..., list[Finding]]) -> None:
    """The sentence holds the name as it was filled in."""
    found = faults(
        venue=f"{HEAD}zones: {{hall: {{type: room}}}}\n"
        "controllers: {panel: {repeat: [east, west], home: 'bay-{name}'}}\n"
    )
    assert [f.text for f in found] == ["there is no zone named 'bay-east'", "there is no zone named 'bay-west'"]
    assert {(f.line, f.column) for f in found} == {(4, 51)}


def test_the_entry_itself_is_no_zone(faults: Callable[..., list[Finding]]) -> None:
    """Only what it was stamped to exists."""
    found = faults(
        venue=f"{HEAD}zones: {{bay: {{type: room, repeat: [east]}}}}\ncontrollers: {{panel: {{home: bay}}}}\n"
    )
    assert [f.right for f in found] == ["did you mean 'bay-east'? there is bay-east"]
