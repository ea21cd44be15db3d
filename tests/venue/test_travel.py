"""The sections venue_sources and overflows, and the controls of microphones."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded
from roomlink.venue.check import check

Spoilt = Callable[[str, Any], dict[str, Any]]
LECTERN = {"zone": "heron", "at": [6, 2], "level": {"range": [-60, 0], "travel": "3s", "ceiling": -3}, "mute": {}}
RADIO = {"zone": "plover", "radio": True, "zones": ["heron", "plover"]}


def with_all(sound: dict[str, Any], **more: Any) -> dict[str, Any]:
    tree = copy.deepcopy(sound)
    tree["venue_sources"] = {"music": {"carries": "sound"}}
    tree["overflows"] = {"late": {"from": "heron", "to": "plover", "carries": ["picture", "sound"]}}
    tree["microphones"] = {"lectern": dict(LECTERN), "handheld": dict(RADIO)}
    return {**tree, **more}


def test_all_of_it_is_resolved(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """With words for people, and what carries in one order."""
    data = venue(with_all(sound)).data
    assert data["venue_sources"] == {"music": {"name": "Music", "carries": ["sound"]}}
    late = {"name": "Late", "from": "heron", "to": "plover", "carries": ["sound", "picture"]}
    assert data["overflows"] == {"late": late}


def test_a_microphone_gives_its_zone_a_level_and_a_mute(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """It is muted at first; other zones of the type have none."""
    loaded = venue(with_all(sound))
    heron, plover = (loaded.data["zones"][zone]["controls"] for zone in ("heron", "plover"))
    level = heron["lectern-level"]
    assert (level["unit"], level["lo"], level["ceiling"], level["section"], level["name"]) == (
        "dB", -60.0, -3.0, "sound", "Lectern",
    )  # fmt: skip
    assert (heron["lectern-mute"]["start"], heron["lectern-mute"]["name"]) == (True, "Lectern muted")
    assert not {"lectern-level", "lectern-mute"} & set(plover)
    assert loaded.spec.travel.microphones["lectern"].mute == "lectern-mute"


def test_a_radio_microphone_has_its_mute_in_each_zone(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Those that it may be used in, in venue order; a mute even where none is written."""
    loaded = venue(with_all(sound))
    assert [z for z, content in loaded.data["zones"].items() if "handheld-mute" in content["controls"]] == [
        "heron", "plover",
    ]  # fmt: skip
    everywhere = venue(with_all(sound, microphones={"handheld": {"zone": "foyer", "radio": True}}))
    assert everywhere.spec.travel.microphones["handheld"].zones == ("heron", "plover", "foyer")


def test_life_safety_mutes_every_microphone(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Whatever its values say; a lockout does not."""
    assert venue(with_all(sound)).data["overrides"]["fire"]["values"] == {
        "mute": True, "lectern-mute": True, "handheld-mute": True,
    }  # fmt: skip


def test_scenes_and_bindings_may_name_what_is_the_venues_and_the_microphones(
    venue: Callable[..., Loaded], sound: dict[str, Any]
) -> None:
    """As any option, and any control of the zone."""
    scenes = {"talk": {"zone": "heron", "values": {"lectern-mute": "off", "program": "venue/music"}}}
    bindings = [{"control": "heron.lectern-mute", "device": "panel", "point": {"name": "lectern"}}]
    data = venue(with_all(sound, scenes=scenes, bindings=bindings)).data
    assert data["scenes"]["talk"]["values"] == {"lectern-mute": False, "program": "venue/music"}


def test_a_choice_may_fall_back_to_what_is_the_venues(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Where it takes it."""
    tree = with_all(sound)
    tree["zone_types"]["section"]["controls"]["program"]["fallback"] = "venue/music"
    assert venue(tree).data["zones"]["heron"]["controls"]["program"]["fallback"] == "venue/music"


@pytest.mark.parametrize(
    ("path", "value", "key", "text", "right"),
    [
        ("venue_sources.music.carries", "smell", "venue_sources.music.carries", "neither sound nor picture", "sound"),
        ("overflows.late.to", "attic", "overflows.late.to", "no zone named 'attic'", "heron"),
        ("overflows.late.to", "heron", "overflows.late.to", "has what is in it already", "another zone"),
        ("overflows.late.via", "heron", "overflows.late.via", "unknown key", "from, to, carries"),
        ("zones.venue", {"type": "lobby"}, "zones.venue", "is called 'venue'", "another name"),
        ("microphones.lectern.at", None, "microphones.lectern", "'at' is missing", "at: [x, y]"),
        ("microphones.lectern.zones", ["heron"], "microphones.lectern.zones", "with a cable", "radio: true"),
        ("microphones.handheld.zones", ["attic"], "microphones.handheld.zones[0]", "no zone named 'attic'", "heron"),
        ("microphones.lectern.mute", {"min_on": "2s"}, "microphones.lectern.mute", "muted at once", "min_on"),
        ("microphones.lectern.level", {"range": [0]}, "microphones.lectern.level.range", "not a range", "lowest"),
        ("zone_types.section.controls.lectern-mute", {"kind": "switch"}, "microphones.lectern", "of its own", "rename"),
        ("combining.on_separate.lectern-mute", "off", "combining.on_separate.lectern-mute", "drops by itself", "leave"),
        ("zone_types.section.controls.program.fallback", "venue/film", "zone_types.section.controls.program.fallback",
         "is not an option", "venue/music"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(
    sound: dict[str, Any], faults: Callable[..., list[Finding]], path: str, value: Any, key: str, text: str, right: str
) -> None:
    """At its place, with what would be right."""
    tree: Any = with_all(sound)
    around, (*way, last) = tree, path.split(".")
    for part in way:
        around = around[part]
    around[last] = value
    found = faults(tree)
    assert key in [one.key for one in found], found
    one = next(one for one in found if one.key == key)
    assert text in one.text
    assert right in one.right


def test_check_says_what_nothing_takes(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """A source of the venue that no choice takes, an overflow of which only microphones are heard, an idle key."""
    tree = with_all(sound, overflows={"late": {"from": "heron", "to": "foyer"}})
    tree["zone_types"]["section"]["controls"]["program"]["carries"] = "picture"
    tree["zone_types"]["section"]["controls"]["display"] = {"kind": "choice", "options": ["on"], "carries": "sound"}
    found = {one.key: one.text for one in check(venue(tree))}
    assert "no choice takes sound" in found["venue_sources.music"]
    assert "no choice of foyer takes what heron has" in found["overflows.late"]
    assert "stands for nothing" in found["zone_types.section.controls.display.carries"]
