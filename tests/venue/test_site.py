"""Zones with their controls."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]


def test_a_zone_may_differ_from_its_type_in_members(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """The members given are its own, all others are the type's."""
    own = {"volume": {"ceiling": -40, "travel": "500ms"}, "program": {"options": ["laptop"], "gap": "0s"}}
    loaded = venue(spoilt("zones.heron.controls", own))
    heron, plover = (loaded.spec.zones[zone].controls for zone in ("heron", "plover"))
    assert (heron["volume"].ceiling, heron["volume"].travel, heron["volume"].lo) == (-40.0, 0.5, -60.0)
    assert (plover["volume"].ceiling, plover["volume"].travel) == (-6.0, 3.0)
    assert (heron["program"].options, heron["program"].gap) == (("laptop",), 0.0)
    assert heron["program"].sources is True
    assert list(heron) == list(plover)


def test_a_member_that_clashes_with_the_type_is_told_at_the_zone(
    faults: Callable[..., list[Finding]], spoilt: Spoilt
) -> None:
    """The type's start lies above the zone's new ceiling: the zone is what has to change."""
    tree = spoilt("zones.heron.controls", {"volume": {"ceiling": -50}})
    tree["zone_types"]["section"]["controls"]["volume"]["start"] = -30
    found = faults(tree)
    assert "zones.heron.controls.volume.start" in {f.key for f in found}


def test_a_zone_may_have_a_control_of_its_own(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """What is written with a kind is new there, behind the controls of the type; other zones do not have it."""
    zones = venue(sound).spec.zones
    assert list(zones["heron"].controls) == [*zones["plover"].controls, "screen", "lamp"]
    assert zones["heron"].controls["screen"].kind == "motion"


def test_rules_may_name_a_control_that_only_one_zone_has(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """They count where it is."""
    tree = spoilt("zones.heron.controls.backdrop", {"kind": "choice", "options": ["sea", "sky"]})
    tree["combining"]["on_separate"] = {"backdrop": "sea"}
    tree["overrides"]["fire"]["values"]["lamp"] = "off"
    loaded = venue(tree)
    assert loaded.data["combining"]["on_separate"] == {"backdrop": "sea"}
    assert loaded.data["overrides"]["fire"]["values"] == {"mute": True, "lamp": False}


def test_zones_of_one_entry_share_their_controls(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """In the core, zones without members of their own share one mapping."""
    zones = venue(spoilt("zones.heron.controls", {})).spec.zones
    assert zones["heron"].controls is zones["plover"].controls


def test_names_for_people_are_made_where_none_is_given(venue: Callable[..., Loaded], spoilt: Spoilt) -> None:
    """Of the name for programs, capitalised."""
    loaded = venue(spoilt("zones.foyer.name", "Grand foyer"))
    assert [zone["name"] for zone in loaded.data["zones"].values()] == ["Heron", "Plover", "Grand foyer"]
    assert loaded.spec.controllers["heron-wall"].name == "Heron wall"
    assert loaded.spec.zones["heron"].controls["house"].name == "House"
