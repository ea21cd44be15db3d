"""Contacts and reports of walls, and the inputs of overrides."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding, Loaded

Spoilt = Callable[[str, Any], dict[str, Any]]
Wired = Callable[[dict[str, Any]], Loaded]

WALL = "partitions.heron-plover"
CLOSED = {"device": "panel", "point": {"name": "closed"}}
STACKED = {"device": "panel", "point": {"name": "stacked"}, "made": False}
REPORT = {"device": "panel", "point": {"name": "wall"}, "values": {"open": 0, "closed": 1}}


def test_a_wall_with_contacts_is_sensed(wired: Wired, spoilt: Spoilt) -> None:
    """Each contact says what is reported when it is made."""
    loaded = wired(spoilt(f"{WALL}.contacts", {"closed": CLOSED, "stacked": STACKED}))
    wall = loaded.data["partitions"]["heron-plover"]
    assert (wall["sensed"], wall["simulated"], wall["report"]) == (True, False, None)
    assert wall["contacts"] == {
        "closed": {**CLOSED, "point_name": "closed", "made": True},
        "stacked": {**STACKED, "point_name": "stacked", "made": False},
    }
    assert loaded.spec.partitions["heron-plover"].sensed is True


def test_one_contact_is_enough(wired: Wired, spoilt: Spoilt) -> None:
    """At either end."""
    wall = wired(spoilt(f"{WALL}.contacts", {"stacked": STACKED})).data["partitions"]["heron-plover"]
    assert wall["sensed"] is True
    assert list(wall["contacts"]) == ["stacked"]


def test_a_wall_whose_position_is_reported_is_sensed(wired: Wired, spoilt: Spoilt) -> None:
    """Positions that the device does not tell are left out."""
    report = {**REPORT, "values": {"open": 0, "closed": 1, "moving": 2}}
    wall = wired(spoilt(f"{WALL}.report", report)).data["partitions"]["heron-plover"]
    assert wall["sensed"] is True
    assert wall["report"] == {
        "device": "panel",
        "point": {"name": "wall"},
        "point_name": "wall",
        "values": {"open": 0, "closed": 1, "moving": 2},
    }


UNSOUND: list[tuple[str, Any, str, str, str]] = [
    # what is spoilt, what is written instead, the key of the finding below it, what it says, what would be right
    (f"{WALL}.contacts", {}, "", "no contact is given", "closed:, stacked:"),
    (f"{WALL}.contacts", {"closed": {**CLOSED, "device": "panl"}}, ".closed.device", "no device named", "'panel'"),
    (f"{WALL}.contacts", {"closed": {**CLOSED, "point": {}}}, ".closed.point", "'name' is missing", "write name:"),
    (f"{WALL}.contacts", {"closed": CLOSED, "stacked": CLOSED}, ".stacked.point", "is read here already", "of its own"),
    (f"{WALL}.report", {**REPORT, "device": "panl"}, ".device", "no device named 'panl'", "'panel'"),
    (f"{WALL}.report", {**REPORT, "values": {"open": 1, "closed": 1}}, ".values.closed", "means open", "of its own"),
    (f"{WALL}.report", {**REPORT, "values": {"open": [1], "closed": 1}}, ".values.open", "plain values", "a word"),
    ("overrides.fire.input.active", "shut", "", "not known here", "open, closed"),
    ("overrides.fire.zones", ["tern"], "[0]", "no zone named 'tern'", "there is heron"),
    ("overrides.fire.zones", "heron", "", "is not a list", "[one, two]"),
]


@pytest.mark.parametrize(("path", "value", "key", "text", "right"), UNSOUND, ids=[f"{r[0]}{r[2]}" for r in UNSOUND])
def test_an_input_that_cannot_be_read_is_told_at_its_place(
    spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]], path: str, value: Any, key: str, text: str, right: str
) -> None:
    """Alone, and with what would be right."""
    (found,) = wiring_faults(spoilt(path, value))
    assert found.key == path + key
    assert text in found.text
    assert right in found.right


def test_contacts_and_a_report_together_are_refused(
    spoilt: Spoilt, wiring_faults: Callable[..., list[Finding]]
) -> None:
    """One of them has to count."""
    tree = spoilt(f"{WALL}.contacts", "simulated")
    tree["partitions"]["heron-plover"]["report"] = REPORT
    assert [f.key for f in wiring_faults(tree)] == [f"{WALL}.report"]


def test_two_walls_do_not_share_a_contact(
    spoilt: Spoilt, wired: Wired, wiring_faults: Callable[..., list[Finding]]
) -> None:
    """Repeated walls tell their contacts apart by the word."""
    wall = {"between": ["plover", "bay-{name}"], "repeat": ["east", "west"], "contacts": {"closed": CLOSED}}
    tree = spoilt("zones.bay", {"type": "lobby", "repeat": ["east", "west"]})
    tree["partitions"]["side"] = wall
    (found,) = wiring_faults(tree)
    assert found.key == "partitions.side.contacts.closed.point"
    wall["contacts"] = {"closed": {"device": "panel", "point": {"name": "{name} closed"}}}
    walls = wired(tree).data["partitions"]
    assert walls["side-west"]["contacts"]["closed"]["point_name"] == "west closed"


def test_an_override_is_resolved_with_its_input(wired: Wired, spoilt: Spoilt) -> None:
    """An open circuit is active, all zones are masked, and light returns in three seconds, if nothing else is said."""
    override = wired(spoilt("overrides.fire.zones", "all")).data["overrides"]["fire"]
    assert override == {
        "name": "Fire",
        "kind": "life-safety",
        "input": {"device": "panel", "point": {"name": "fire"}, "point_name": "fire", "active": "open"},
        "zones": None,
        "values": {"mute": True},
        "blend": 3.0,
    }


def test_the_core_takes_the_zones_and_the_blend_of_an_override(wired: Wired, spoilt: Spoilt) -> None:
    """A list of zones is a list of zones."""
    tree = spoilt("overrides.fire.zones", ["heron"])
    tree["overrides"]["fire"]["blend"] = "5s"
    spec = wired(tree).spec.overrides["fire"]
    assert (spec.zones, spec.blend, dict(spec.values)) == (("heron",), 5.0, {"mute": True})


def test_a_circuit_that_closes_to_act_is_a_warning(wired: Wired, spoilt: Spoilt) -> None:
    """A broken wire would look like all being well."""
    (found,) = wired(spoilt("overrides.fire.input.active", "closed")).warnings
    assert found.key == "overrides.fire.input.active"
    assert "broken wire" in found.text


@pytest.mark.parametrize("change", [{"values": {}}, {"zones": ["foyer"], "values": {"house": 100}}])
def test_an_override_that_masks_nothing_is_a_warning(wired: Wired, spoilt: Spoilt, change: dict[str, Any]) -> None:
    """It still stops what moves, so it may be meant."""
    tree = spoilt("overrides.fire.name", "Fire")
    tree["overrides"]["fire"].update(change)
    (found,) = wired(tree).warnings
    assert (found.key, "masks no control" in found.text) == ("overrides.fire", True)


def test_an_override_without_its_device_is_a_warning_that_it_stands(wired: Wired, spoilt: Spoilt) -> None:
    """A lost input counts as active, and so does one that was never there."""
    (found,) = wired(spoilt("overrides.fire.input.device", "relays-1")).warnings
    assert found.key == "overrides.fire.input.device"
    assert "the override as active" in found.text


def test_where_the_sound_plan_goes_must_exist(wiring_faults: Callable[..., list[Finding]], spoilt: Spoilt) -> None:
    """Microphone, loudspeakers and device are known, and the point is driven once."""
    entry = {"microphone": "desk", "loudspeakers": "roof", "device": "panel", "point": {"name": "gain"}}
    tree = spoilt("overrides.fire.name", "Fire")
    tree["sound_outputs"] = [entry, {**entry, "device": "nowhere"}, entry]
    found = {(f.key, f.text) for f in wiring_faults(tree)}
    keys = {key for key, _ in found}
    assert "sound_outputs[0].microphone" in keys
    assert "sound_outputs[0].loudspeakers" in keys
    assert "sound_outputs[1].device" in keys
    assert any("driven already" in text for key, text in found if key.startswith("sound_outputs[2]"))
