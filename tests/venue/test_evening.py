"""Paging, presence, walls in order, pass doors, mutes that raised levels let go, and ends, as they are written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]
DESK: dict[str, Any] = {"control": "heron.talkback", "ducks": ["volume"], "by": 12}
SENSOR = {"device": "panel", "point": {"input": 7}}


def test_what_is_written_reaches_the_core(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """With what holds where nothing is said."""
    tree = spoilt("paging", {"desk": DESK})
    plain = venue(tree).spec
    assert (plain.bookings.warn, plain.bookings.extend, plain.idle_after) == (600.0, (900.0, 1800.0), 1800.0)
    desk = plain.paging["desk"]
    assert (desk.name, desk.zones, desk.control, desk.by, desk.most) == ("Desk", None, "heron.talkback", 12.0, 60.0)
    assert plain.partitions["heron-plover"].after == ()
    tree["bookings"] = {"warn": "5min", "extend": ["10min"]}
    tree["venue"]["idle_after"] = "1h"
    tree["presence"] = {"heron": SENSOR}
    tree["partitions"]["heron-plover"]["pass_door"] = {"device": "panel", "point": {"input": 8}, "made": False}
    tree["zone_types"]["section"]["controls"]["volume"]["unmute_on_raise"] = "mute"
    loaded = venue(tree)
    spec = loaded.spec
    assert (spec.bookings.warn, spec.bookings.extend, spec.idle_after) == (300.0, (600.0,), 3600.0)
    assert loaded.data["presence"]["heron"]["made"] is True
    assert loaded.data["partitions"]["heron-plover"]["pass_door"]["made"] is False
    assert getattr(spec.zones["heron"].controls["volume"], "unmute_on_raise") == "mute"  # noqa: B009  # a level's alone


@pytest.mark.parametrize(
    ("path", "value", "key", "said"),
    [
        ("paging", {"desk": {"ducks": ["volume"], "by": 12}}, "paging.desk", "by one thing"),
        ("paging", {"desk": {**DESK, "input": SENSOR}}, "paging.desk", "by one thing"),
        ("paging", {"desk": {**DESK, "control": "heron.mute"}}, "paging.desk.control", "is a switch"),
        ("paging", {"desk": {**DESK, "control": "heron.bell"}}, "paging.desk.control", "bell"),
        ("paging", {"desk": {**DESK, "ducks": ["mute"]}}, "paging.desk.ducks[0]", "is no level"),
        ("paging", {"desk": {**DESK, "ducks": ["volumes"]}}, "paging.desk.ducks[0]", "volumes"),
        ("paging", {"desk": {**DESK, "ducks": []}}, "paging.desk.ducks", "nothing is lower"),
        ("paging", {"desk": {**DESK, "by": 0}}, "paging.desk.by", "makes nothing lower"),
        ("paging", {"desk": {**DESK, "most": "1h"}}, "paging.desk.most", "a key that sticks"),
        ("paging", {"desk": {**DESK, "zones": ["attic"]}}, "paging.desk.zones[0]", "attic"),
        ("presence", {"attic": SENSOR}, "presence.attic", "attic"),
        ("partitions.heron-plover.after", ["plover-heron"], "partitions.heron-plover.after", "plover-heron"),
        ("partitions.heron-plover.after", ["heron-plover"], "partitions.heron-plover.after", "wait for the other"),
        (
            "zone_types.section.controls.volume.unmute_on_raise",
            "hush",
            "zone_types.section.controls.volume.unmute_on_raise",
            "has no switch 'hush'",
        ),
        (
            "zone_types.section.controls.volume.unmute_on_raise",
            "house",
            "zone_types.section.controls.volume.unmute_on_raise",
            "house is a level",
        ),
        ("bookings", {"warn": "soon"}, "bookings.warn", "soon"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(
    faults: Callable[..., list[Finding]], spoilt: Spoilt, path: str, value: Any, key: str, said: str
) -> None:
    """With what would be right."""
    (found,) = faults(spoilt(path, value))
    assert found.key == key
    assert said in f"{found.text}; {found.right}"


@pytest.mark.parametrize("word", ["none", "lead", "keep", "restore"])
def test_words_with_a_meaning_are_no_options(faults: Callable[..., list[Finding]], spoilt: Spoilt, word: str) -> None:
    """A rule could not be told from a value."""
    (found,) = faults(spoilt("zone_types.section.controls.lamp", {"kind": "choice", "options": ["bright", word]}))
    assert "the word has a meaning of its own" in found.text


@pytest.mark.parametrize("missing", ["start", "fallback"])
def test_a_choice_that_is_always_on_says_at_what(
    faults: Callable[..., list[Finding]], spoilt: Spoilt, missing: str
) -> None:
    """At first, and when its source is lost."""
    choice = {"kind": "choice", "options": ["bright", "dim"], "allow_none": False, "start": "dim", "fallback": "dim"}
    del choice[missing]
    (found,) = faults(spoilt("zone_types.section.controls.lamp", choice))
    assert missing in found.text
