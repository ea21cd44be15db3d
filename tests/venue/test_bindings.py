"""Which control drives which point."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]
Wired = Callable[[dict[str, Any]], Loaded]

HOUSE = {"control": "heron.house", "device": "dmx-1", "point": {"channel": 1}}
VOLUME = {"control": "heron.volume", "device": "panel", "point": {"name": "gain"}}
PROGRAM = {"control": "heron.program", "device": "panel", "point": {"name": "source"}}
MUTE = {"control": "heron.mute", "device": "panel", "point": {"name": "mute"}}
TALK = {"control": "heron.talkback", "device": "panel", "point": {"name": "talk"}}
LAMP = {"control": "heron.lamp", "device": "panel", "point": {"name": "lamp"}, "class": "power", "on_loss": "off"}
SCREEN = {
    "control": "heron.screen",
    "device": "panel",
    "open": {"name": "down"},
    "close": {"name": "up"},
    "class": "motion",
    "on_loss": "off",
}


def without(binding: dict[str, Any], *members: str) -> dict[str, Any]:
    return {key: value for key, value in binding.items() if key not in members}


def bound(loaded: Loaded) -> dict[str, Any]:
    return {binding["name"]: binding for binding in loaded.data["bindings"]}


def test_every_member_of_a_binding_is_written_out(wired: Wired, sound: dict[str, Any]) -> None:
    """The device's native range and the point's name are those of its driver."""
    (made,) = wired(sound).data["bindings"]
    assert len(made.pop("digest")) == 64
    assert made == {
        "name": "heron.house",
        "control": "heron.house",
        "device": "dmx-1",
        "class": "signal",
        "point": {"channel": 1},
        "open": None,
        "close": None,
        "point_name": "1",
        "curve": "square",
        "onto": [0.0, 1.0],
        "values": {},
        "follow": True,
        "min_on": 0.0,
        "min_off": 0.0,
        "supply": None,
        "restore": False,
        "on_loss": "unknown",
        "on_return": "at-once",
    }


def test_without_drivers_points_have_no_names(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Only the structure is looked at."""
    (made,) = venue(sound).data["bindings"]
    assert "point_name" not in made
    assert made["onto"] is None


def test_each_class_has_members_of_its_own(wired: Wired, spoilt: Spoilt) -> None:
    """Sound comes back from the low end, and only signals follow what is reported, if nothing else is said."""
    tree = spoilt("bindings", [VOLUME, TALK, {**LAMP, "min_on": "5s", "supply": "rack", "restore": True}, SCREEN])
    tree["supplies"] = {"rack": {"stagger": "500ms"}}
    loaded = wired(tree)
    made = bound(loaded)
    assert loaded.data["supplies"] == {"rack": {"name": "Rack", "stagger": 0.5}}
    assert (made["heron.volume"]["on_return"], made["heron.volume"]["follow"]) == ("from-low", True)
    assert made["heron.volume"]["onto"] is None
    assert made["heron.talkback"]["follow"] is False
    lamp, screen = made["heron.lamp"], made["heron.screen"]
    assert (lamp["min_on"], lamp["supply"], lamp["restore"], lamp["follow"]) == (5.0, "rack", True, False)
    assert (lamp["on_return"], screen["on_return"]) == ("at-once", None)
    assert (screen["open_name"], screen["close_name"], screen["point"]) == ("down", "up", None)
    assert [(b.zone, b.control, b.device, b.cls) for b in loaded.spec.bindings][-2:] == [
        ("heron", "lamp", "panel", "power"),
        ("heron", "screen", "panel", "motion"),
    ]


def test_repeat_stamps_a_binding_out_and_step_moves_its_point(wired: Wired, spoilt: Spoilt) -> None:
    """The word fills the control, the name and texts of the point; numbers go up by the step."""
    tree = spoilt("zones.bay", {"type": "section", "repeat": ["east", "west"]})
    tree["bindings"] = [
        {**HOUSE, "control": "bay-{name}.house", "repeat": ["east", "west"], "step": {"channel": 10}},
        {**MUTE, "control": "bay-{name}.mute", "point": {"name": "mute {Name}"}, "repeat": ["east", "west"]},
        {**MUTE, "name": "{name}-again", "control": "{name}.mute", "repeat": ["plover"]},
    ]
    made = bound(wired(tree))
    assert {name: b["point_name"] for name, b in made.items()} == {
        "bay-east.house": "1",
        "bay-west.house": "11",
        "bay-east.mute": "mute East",
        "bay-west.mute": "mute West",
        "plover-again": "mute",
    }
    assert made["bay-west.house"]["point"] == {"channel": 11}
    assert made["plover-again"]["control"] == "plover.mute"


UNSOUND: list[tuple[Any, str, str, str]] = [
    # the binding, the key of the finding below it, what it says, what would be right
    ({**HOUSE, "control": "hern.house"}, "control", "no zone named 'hern'", "did you mean 'heron'?"),
    ({**HOUSE, "control": "heron.horse"}, "control", "no control of heron named 'horse'", "did you mean 'house'?"),
    ({**HOUSE, "device": "dmx-2"}, "device", "no device named 'dmx-2'", "did you mean 'dmx-1'?"),
    ({**HOUSE, "control": "{name}.house"}, "control", "nothing without repeat", "add repeat"),
    ({**HOUSE, "step": {"channel": 1}}, "step", "nothing without repeat", "add repeat"),
    ({**HOUSE, "name": "Heron"}, "name", "'Heron' is not a name", "lower-case"),
    ({**HOUSE, "repeat": []}, "repeat", "nothing to repeat", "list a word"),
    ({**HOUSE, "repeat": ["heron"], "step": {"chanel": 1}}, "step.chanel", "no number 'chanel'", "one of its numbers"),
    (without(HOUSE, "point"), "", "'point' is missing", "write point:"),
    ({**HOUSE, "onto": [0, 2]}, "onto", "outside the device's range", "0 to 1"),
    ({**HOUSE, "values": {"on": 1}}, "values", "values is for a choice or switch or momentary", "leave it out"),
    ({**HOUSE, "min_on": "3s"}, "min_on", "min_on is for the class power", "leave it out"),
    ({**HOUSE, "restore": True}, "restore", "for the class power", "leave it out"),
    ({**HOUSE, "on_loss": "off"}, "on_loss", "for the class power, motion", "leave it out"),
    ({**HOUSE, "open": {"channel": 2}}, "open", "for the class motion", "leave it out"),
    ({**VOLUME, "curve": "square"}, "curve", "nothing to bend", "write onto:"),
    ({**MUTE, "onto": [0, 1]}, "onto", "onto is for a level; this is a switch", "leave it out"),
    ({**MUTE, "values": {"on": 1}}, "values", "no value for off", "on, off"),
    ({**MUTE, "values": {"on": 1, "off": 0, "of": 2}}, "values.of", "no option named 'of'", "did you mean 'off'?"),
    ({**MUTE, "values": {"on": [1], "off": 0}}, "values.on", "takes plain values", "a number"),
    ({**MUTE, "on_return": "from-low"}, "on_return", "a switch has no low end", "at-once"),
    ({**TALK, "follow": True}, "follow", "this is a momentary", "leave it out"),
    ({**PROGRAM, "values": {"laptop": 2}}, "values", "no value for lectern", "lectern, laptop"),
    (
        {**PROGRAM, "values": {"laptop": 2, "lectern": 1, "foyer/laptop": 3}},
        "values.foyer/laptop",
        "no option named",
        "lectern",
    ),
    ({**VOLUME, "class": "power", "on_loss": "off"}, "class", "the class is for switches, and this is a level", "bind"),
    ({**LAMP, "control": "heron.talkback"}, "class", "this is a momentary", "bind a switch"),
    ({**LAMP, "supply": "rick"}, "supply", "no supply named 'rick'", "there is rack"),
    ({**LAMP, "curve": "linear"}, "curve", "for the class signal", "leave it out"),
    ({**LAMP, "class": "motion"}, "class", "the control is a switch, the class motion", "signal or power"),
    ({**SCREEN, "class": "signal"}, "class", "the control is a motion, the class signal", "class: motion"),
    ({**SCREEN, "class": "power"}, "class", "the control is a motion, the class power", "class: motion"),
    (without(SCREEN, "close"), "", "'close' is missing", "write close:"),
    ({**SCREEN, "point": {"name": "x"}}, "point", "for the class signal, power", "leave it out"),
    ({**SCREEN, "restore": True}, "restore", "for the class power", "leave it out"),
    ({**SCREEN, "close": {"name": "down"}}, "close", "driven already", "each point once"),
    (without(SCREEN, "on_loss"), "on_loss", "say what the device does by itself", "on_loss: off"),
    ({**SCREEN, "on_loss": "unknown"}, "on_loss", "nothing may go on moving unseen", "tried on site"),
]


@pytest.mark.parametrize(("binding", "key", "text", "right"), UNSOUND, ids=[f"{n}" for n in range(len(UNSOUND))])
def test_what_does_not_fit_is_told_at_its_place(
    spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]], binding: Any, key: str, text: str, right: str
) -> None:
    """The class, the control and the device each have their say."""
    tree = spoilt("bindings", [binding])
    tree["supplies"] = {"rack": {"stagger": "1s"}}
    at = f"bindings[0].{key}" if key else "bindings[0]"
    found = [f for f in wiring_faults(tree) if f.key == at and text in f.text]
    assert len(found) == 1, "\n".join(map(str, wiring_faults(tree)))
    assert right in found[0].right


def test_a_control_with_a_mistake_is_found_once(spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]]) -> None:
    """Nothing follows from it at the binding that drives it."""
    tree = spoilt("zone_types.section.controls.house.travel", "4 s")
    (found,) = wiring_faults(tree)
    assert found.key == "zone_types.section.controls.house.travel"


def test_to_deny_what_could_not_be_is_allowed(wired: Wired, spoilt: Spoilt) -> None:
    """A motion that says that it restores nothing is right."""
    assert wired(spoilt("bindings", [{**SCREEN, "restore": False, "follow": False}])).warnings == []


def test_a_table_may_hold_none_and_options_of_other_zones(wired: Wired, spoilt: Spoilt) -> None:
    """Sources travel, so a device may be told another zone's."""
    values = {"lectern": 1, "laptop": 2, "none": 0, "plover/laptop": 3}
    (made,) = wired(spoilt("bindings", [{**PROGRAM, "values": values}])).data["bindings"]
    assert made["values"] == values


@pytest.mark.parametrize(
    ("binding", "text"),
    [
        (without(LAMP, "on_loss"), "say what the device does by itself"),
        ({**LAMP, "on_loss": "unknown"}, "say what the device does by itself"),
        ({**SCREEN, "on_loss": "holds"}, "move on until its own limits stop it"),
    ],
)
def test_what_a_device_does_alone_is_asked_for(wired: Wired, spoilt: Spoilt, binding: Any, text: str) -> None:
    """The venue loads with a warning."""
    (found,) = wired(spoilt("bindings", [binding])).warnings
    assert found.key == "bindings[0].on_loss"
    assert text in found.text


def test_two_bindings_of_one_control_need_names(
    spoilt: Spoilt, wired: Wired, wiring_faults: Callable[..., list[Finding]]
) -> None:
    """An arming names a binding, so each has a name of its own."""
    second = {**HOUSE, "point": {"channel": 2}}
    (found,) = wiring_faults(spoilt("bindings", [HOUSE, second]))
    assert found.key == "bindings[1]"
    assert "name of a binding already" in found.text
    assert list(bound(wired(spoilt("bindings", [HOUSE, {**second, "name": "heron-far-lights"}])))) == [
        "heron.house",
        "heron-far-lights",
    ]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("bindings.0.min_off", "9s"),
        ("bindings.0.name", "heron-lamp"),
        ("bindings.0.point.name", "lamp-2"),
        ("devices.panel.rate", 10),
        ("zones.heron.controls.lamp.min_on", "5s"),
        ("supplies.rack.stagger", "2s"),
    ],
)
def test_the_digest_of_a_binding_changes_with_all_that_was_checked(
    wired: Wired, path: str, value: Any, spoilt: Spoilt
) -> None:
    """Whoever armed it checked the binding, its device, its control and its supply; not the rest of the venue."""
    tree = spoilt("bindings", [{**LAMP, "supply": "rack"}])
    tree["supplies"] = {"rack": {"stagger": "1s"}}
    before = wired(tree).data["bindings"][0]["digest"]
    assert wired({**tree, "occupancy": []}).data["bindings"][0]["digest"] == before
    around: Any = tree
    *way, last = path.split(".")
    for part in way:
        around = around[int(part)] if isinstance(around, list) else around[part]
    around[last] = value
    assert wired(tree).data["bindings"][0]["digest"] != before
