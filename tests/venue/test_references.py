"""Every rule between the sections has a failing example, and what is sound is resolved."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]

VOLUME = "zone_types.section.controls.volume"
PROGRAM = "zone_types.section.controls.program"
DINNER = "scenes.dinner"

UNSOUND: list[tuple[str, Any, str, str]] = [
    # the value to spoil, what is written instead, what the finding says, what would be right
    (f"{PROGRAM}.options", [], "nothing to choose from", "at least one"),
    (f"{PROGRAM}.options", ["laptop", "laptop"], "listed twice", "once"),
    (f"{PROGRAM}.start", "laptob", "is not an option", "did you mean 'laptop'?"),
    (f"{PROGRAM}.fallback", "camera", "is not an option", "lectern, laptop, none"),
    (f"{VOLUME}.start", 3, "outside the range", "-60 to -6"),
    (f"{VOLUME}.start", -3, "above the ceiling", "-60 to -6"),
    (f"{VOLUME}.ceiling", 3, "outside the range", "-60 to 0"),
    ("zones", {}, "the venue has no zone", "write zones:"),
    ("zones.heron.type", "sektion", "no zone type named 'sektion'", "did you mean 'section'?"),
    ("zones.heron.controls", {"volum": {}}, "no control of section named 'volum'", "did you mean 'volume'?"),
    ("zones.heron.controls", {"volume": {"kind": "switch"}}, "cannot change the kind", "volume is a level"),
    ("zones.heron.controls", {"volume": {"cieling": -10}}, "unknown key", "did you mean 'ceiling'?"),
    ("zones.heron.controls", {"volume": {"ceiling": 7}}, "outside the range", "-60 to 0"),
    ("zones.heron.controls", {"volume": {"travel": 3}}, "no unit of time", "write 3s"),
    ("zones.heron.step", [1, 1], "nothing without repeat", "add repeat"),
    ("zones.heron.name", "{Name} bay", "nothing without repeat", "write the name out"),
    ("partitions.heron-plover.between", ["heron", "heron"], "two different zones", "[heron, plover]"),
    ("partitions.heron-plover.between", ["heron"], "two different zones", "[heron, plover]"),
    ("partitions.heron-plover.between", ["heron", "plovr"], "no zone named 'plovr'", "there is heron, plover, foyer"),
    ("controllers.heron-wall.home", "hern", "no zone named 'hern'", "did you mean 'heron'?"),
    ("controllers.heron-wall.reach", ["heron", "tern"], "no zone named 'tern'", "there is heron"),
    ("controllers.heron-wall.reach", ["heron", "heron"], "listed twice", "once"),
    ("combining.lead_order", ["heron-wal"], "no controller named 'heron-wal'", "did you mean 'heron-wall'?"),
    ("combining.lead_order", ["heron-wall", "heron-wall"], "listed twice", "once"),
    ("combining.on_combine", {"volum": "lead"}, "no control named 'volum'", "did you mean 'volume'?"),
    ("combining.on_combine", {"program": "quietest"}, "for levels only", "lead, keep or a value"),
    ("combining.on_combine", {"mute": "mean"}, "for levels only", "lead, keep or a value"),
    ("combining.on_combine", {"mute": "restore"}, "no rule of on_combine", "lead, keep"),
    ("combining.on_combine", {"talkback": "keep"}, "follows no rule", "leave it out"),
    ("combining.on_combine", {"screen": "keep"}, "held or let go, and follows no rule", "leave it out"),
    ("combining.on_separate", {"lamp": "lead"}, "no rule of on_separate", "restore, keep"),
    ("combining.on_combine", {"volume": "loud"}, "is not a level", "lead, keep, quietest, loudest, mean"),
    ("combining.on_combine", {"volume": 5}, "outside the range", "-60 to -6"),
    ("combining.on_combine", {"volume": -5}, "above the ceiling", "-60 to -6"),
    ("combining.on_combine", {"program": "camera"}, "is not an option", "lectern, laptop, none"),
    ("combining.on_combine", {"mute": 1}, "neither on nor off", "on or off"),
    ("combining.on_separate", {"volume": "quietest"}, "no rule of on_separate", "restore, keep"),
    ("combining.on_separate", {"mute": "lead"}, "no rule of on_separate", "restore, keep"),
    (DINNER, {"values": {"mute": "on"}}, "does not say what it is for", "type:, zone: or zones:"),
    (DINNER, {"type": "section", "zone": "heron", "values": {"mute": "on"}}, "gives type, zone", "one of"),
    (DINNER, {"type": "section"}, "not where they belong", "beside type"),
    (DINNER, {"zones": {"heron": {"mute": "on"}}, "values": {}}, "not where they belong", "within zones"),
    (DINNER, {"type": "section", "values": {}}, "holds no values", "at least one"),
    (DINNER, {"zones": {}}, "holds no values", "at least one"),
    (DINNER, {"type": "sektion", "values": {"mute": "on"}}, "no zone type named", "did you mean 'section'?"),
    (DINNER, {"zone": "hern", "values": {"mute": "on"}}, "no zone named", "did you mean 'heron'?"),
    (DINNER, {"zones": {"hern": {"mute": "on"}}}, "no zone named", "did you mean 'heron'?"),
    (DINNER, {"type": "section", "values": {"mut": "on"}}, "no control of section named", "did you mean 'mute'?"),
    (DINNER, {"type": "lobby", "values": {"volume": -30}}, "no control of lobby named", "there is mute"),
    (DINNER, {"zone": "foyer", "values": {"volume": -30}}, "no control of foyer named", "there is mute"),
    (DINNER, {"zones": {"foyer": {"volume": -30}}}, "no control of foyer named", "there is mute"),
    (DINNER, {"type": "section", "values": {"talkback": "on"}}, "takes no value", "leave it out"),
    (DINNER, {"zone": "heron", "values": {"screen": "close"}}, "people hold it to move it", "leave it out"),
    (DINNER, {"type": "section", "values": {"screen": "close"}}, "no control of section named", "there is program"),
    (DINNER, {"zone": "heron", "values": {"volume": -1}}, "above the ceiling", "-60 to -6"),
    (DINNER, {"zone": "heron", "values": {"volume": None}}, "is not a level", "number of dB"),
    (DINNER, {"zone": "heron", "values": {"program": "lead"}}, "is not an option", "lectern"),
    ("occupancy.0.zones", [], "no zone is listed", "one room"),
    ("occupancy.0.zones", ["tern"], "no zone named 'tern'", "there is heron"),
    ("occupancy.0.zones", ["heron", "heron"], "listed twice", "once"),
    ("occupancy.1.zones", ["heron"], "posted number already", "one of the two"),
    ("overrides.fire.values", {"mutes": "on"}, "no control named 'mutes'", "did you mean 'mute'?"),
    ("overrides.fire.values", {"screen": "close"}, "an override stops it by itself", "leave it out"),
    ("overrides.fire.values", {"house": 101}, "outside the range", "0 to 100"),
]


@pytest.mark.parametrize(("path", "value", "text", "right"), UNSOUND, ids=[f"{r[0]}={r[1]!r}"[:60] for r in UNSOUND])
def test_what_does_not_fit_together_is_told_at_its_place(
    spoilt: Spoilt, faults: Callable[..., list[Finding]], path: str, value: Any, text: str, right: str
) -> None:
    """The key of the finding is the one that was spoilt, or lies within it."""
    found = [f for f in faults(spoilt(path, value)) if f.key.replace("[", ".").replace("]", "").startswith(path)]
    assert len(found) == 1, "\n".join(map(str, found))
    assert text in found[0].text
    assert right in found[0].right


@pytest.mark.parametrize("member", ["start", "fallback"])
def test_a_choice_that_is_never_none_needs_a_start_and_a_fallback(
    spoilt: Spoilt, faults: Callable[..., list[Finding]], member: str
) -> None:
    """Both have to be options, and none is not one."""
    tree = spoilt(f"{PROGRAM}.allow_none", False)
    tree["zone_types"]["section"]["controls"]["program"].update(start="laptop", fallback="laptop")
    tree["zone_types"]["section"]["controls"]["program"][member] = "none"
    found = faults(tree)
    assert [f.key for f in found] == [f"{PROGRAM}.{member}"]
    assert "has to be an option" in found[0].text


def test_a_choice_that_is_never_none_takes_no_none(spoilt: Spoilt, faults: Callable[..., list[Finding]]) -> None:
    """Neither in a scene nor in a rule."""
    tree = spoilt(f"{PROGRAM}.allow_none", False)
    tree["zone_types"]["section"]["controls"]["program"].update(start="laptop", fallback="laptop")
    assert [f.key for f in faults(tree)] == ["combining.on_separate.program", "scenes.dinner.values.program"]


def test_a_rule_has_to_be_sound_for_every_type_that_has_the_control(
    spoilt: Spoilt, faults: Callable[..., list[Finding]]
) -> None:
    """One name, two kinds: quietest fits only one of them."""
    tree = spoilt("zone_types.lobby.controls.volume", {"kind": "switch"})
    found = faults(tree)
    assert [f.key for f in found] == ["combining.on_combine.volume"]
    assert "this is a switch" in found[0].text


def test_a_value_has_to_mean_one_thing_in_all_types(spoilt: Spoilt, faults: Callable[..., list[Finding]]) -> None:
    """On is true for a switch, and an option's name for a choice."""
    tree = spoilt("zone_types.lobby.controls.mute", {"kind": "choice", "options": ["on", "half"]})
    assert any("means different things in section, lobby" in f.text for f in faults(tree))


def test_a_rule_for_a_control_that_stays_local_is_a_warning(spoilt: Spoilt, venue: Callable[..., Loaded]) -> None:
    """It would do nothing there."""
    loaded = venue(spoilt("combining.on_combine", {"house": "lead"}))
    assert [f.key for f in loaded.warnings] == ["combining.on_combine.house"]


def test_rules_keep_words_and_values_apart(spoilt: Spoilt, venue: Callable[..., Loaded]) -> None:
    """Words stay words, none too; switches are true or false, levels numbers."""
    tree = spoilt("combining.on_combine", {"program": "laptop", "volume": -20, "mute": "on"})
    tree["combining"]["on_separate"] = {"program": "none", "volume": "keep", "mute": False}
    combining = venue(tree).data["combining"]
    assert combining["on_combine"] == {"program": "laptop", "volume": -20.0, "mute": True}
    assert combining["on_separate"] == {"program": "none", "volume": "keep", "mute": False}


def test_a_scene_holds_plain_values(spoilt: Spoilt, venue: Callable[..., Loaded]) -> None:
    """None is null, on and off are true and false, levels are floats."""
    loaded = venue(spoilt(DINNER, {"zones": {"heron": {"program": "none", "mute": "off", "volume": -38}}}))
    assert loaded.data["scenes"]["dinner"] == {
        "name": "Dinner",
        "type": None,
        "zone": None,
        "values": {},
        "zones": {"heron": {"program": None, "mute": False, "volume": -38.0}},
    }
    assert loaded.spec.scenes["dinner"].zones["heron"]["volume"] == -38.0


def test_a_scene_above_the_ceiling_of_one_zone_is_a_warning(spoilt: Spoilt, venue: Callable[..., Loaded]) -> None:
    """That zone stops at its ceiling; the others go where the scene says."""
    tree = spoilt("zones.heron.controls", {"volume": {"ceiling": -40}})
    found = venue(tree).warnings
    assert [f.key for f in found] == ["scenes.dinner.values.volume"]
    assert "in zones.heron" in found[0].text


def test_a_scene_that_one_zone_cannot_hold_is_an_error(spoilt: Spoilt, faults: Callable[..., list[Finding]]) -> None:
    """A zone's own options count."""
    tree = spoilt("zones.heron.controls", {"program": {"options": ["lectern"]}})
    tree["scenes"]["dinner"]["values"]["program"] = "laptop"
    assert [f.key for f in faults(tree)] == ["scenes.dinner.values.program"]


def test_without_a_combining_section_there_is_none(spoilt: Spoilt, venue: Callable[..., Loaded]) -> None:
    """Groups then touch no links."""
    loaded = venue(spoilt("combining", ...))
    assert loaded.data["combining"] is None
    assert loaded.spec.combining is None
