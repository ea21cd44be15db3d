"""Every rule of the structure has a failing example, and pydantic's errors become plain sentences."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from roomlink.venue import Finding

Spoilt = Callable[[str, Any], dict[str, Any]]

VOLUME = "zone_types.section.controls.volume"
PROGRAM = "zone_types.section.controls.program"
WALL = "partitions.heron-plover"

STRUCTURE: list[tuple[str, Any, str, str]] = [
    # the value to spoil, what is written instead, what the finding says, what would be right
    ("zonez", {}, "unknown key 'zonez'", "did you mean 'zones'?"),
    ("#", [], "unknown key '#'", "the keys here are"),
    ("venue", ..., "'venue' is missing", "id, name and timezone"),
    ("venue.id", ..., "'id' is missing", "write id: a name for programs"),
    ("venue.id", "Harbour Hall", "is not a name", "lower-case letters"),
    ("venue.timezone", "Halifax", "is not a time zone", "America/Halifax"),
    ("venue.name", " ", "cannot be shown", "printable"),
    ("zone_types.section.controls", ..., "'controls' is missing", "each with its kind"),
    ("zone_types.section.controlz", {}, "unknown key", "did you mean 'controls'?"),
    (f"{PROGRAM}.kind", "choise", "no kind 'choise'", "did you mean 'choice'?"),
    (f"{PROGRAM}.kind", ..., "'kind' is missing", "choice, level, switch, momentary"),
    (f"{PROGRAM}.option", [], "unknown key 'option'", "did you mean 'options'?"),
    (f"{PROGRAM}.options", ..., "'options' is missing", "a list of names"),
    (f"{PROGRAM}.options", "lectern", "is not a list", "[one, two]"),
    (f"{PROGRAM}.options", ["a", 1], "1 is not a name", "heron"),
    *(
        (f"{PROGRAM}.options.0", word, f"cannot be named '{word}'", "another name")
        for word in ("none", "lead", "keep", "restore", "quietest", "loudest", "mean")
    ),
    (f"{PROGRAM}.options.0", "plover/laptop", "a zone and a slash", "hyphens"),
    (f"{PROGRAM}.gap", 3, "no unit of time", "write 3s"),
    (f"{PROGRAM}.gap", "3 sec", "not a duration", "300ms or 3s"),
    (f"{PROGRAM}.allow_none", "yes", "neither true nor false", "write true or false"),
    (f"{PROGRAM}.sources", 1, "neither true nor false", "write true or false"),
    (f"{PROGRAM}.scope", "zone", "'zone' is not known here", "group, local"),
    (f"{PROGRAM}.section", "sounds", "not known here", "did you mean 'sound'?"),
    (f"{VOLUME}.unit", ..., "'unit' is missing", "such as dB"),
    (f"{VOLUME}.unit", "decibels of pressure", "is not a unit", "a short unit"),
    (f"{VOLUME}.range", ..., "'range' is missing", "[lowest, highest]"),
    (f"{VOLUME}.range", [0, -60], "runs from 0 to -60", "lower end first"),
    (f"{VOLUME}.range", [0], "is not a range", "[-60, 0]"),
    (f"{VOLUME}.range", ["a", 0], "is not a number", "plain number"),
    (f"{VOLUME}.travel", ..., "'travel' is missing", "3s"),
    (f"{VOLUME}.travel", "0s", "no time at all", "above 0"),
    (f"{VOLUME}.tolerance", -1, "below 0", "0 or more"),
    (f"{VOLUME}.start", "loud", "not a number", "plain number"),
    ("zone_types.section.controls.mute.start", "maybe", "neither on nor off", "write on or off"),
    ("zone_types.section.controls.mute.min_on", 5, "no unit of time", "write 5s"),
    ("zone_types.section.controls.talkback.start", "on", "unknown key 'start'", "scope"),
    ("zone_types.section.controls.Loud", {"kind": "momentary"}, "'Loud' is not a name", "lower-case"),
    ("zones.heron", [], "is not a mapping", "{key: value}"),
    ("zones.heron.type", ..., "'type' is missing", "zone type"),
    ("zones.heron.outline", [[0, 0], [1]], "is not a point", "[x, y]"),
    ("zones.heron.outline", [[0, 0], [1, 0]], "encloses no area", "three corners"),
    ("zones.Heron", {"type": "section"}, "'Heron' is not a name", "lower-case"),
    ("zones.heron.repeat", ["East"], "cannot be part of a name", "lower-case"),
    (f"{WALL}.between", ..., "'between' is missing", "[heron, plover]"),
    (f"{WALL}.line", [[0, 0]], "two points", "[[12,0],[12,15]]"),
    (f"{WALL}.settle", 2, "no unit of time", "write 2s"),
    (f"{WALL}.on_unknown", "open", "not known here", "hold, closed"),
    (f"{WALL}.contacts", "real", "not known here", "simulated"),
    *(
        (f"{WALL}.{word}", {}, "cannot be driven", "sensed, never driven")
        for word in ("drive", "driver", "motor", "device", "output")
    ),
    ("controllers.heron-wall.home", ..., "'home' is missing", "the zone"),
    ("controllers.heron-wall.feedback", "vote", "not known here", "mismatch-flag, majority, last-linked"),
    ("controllers.heron-wall.on_link", "kept", "not known here", "did you mean 'keep'?"),
    ("controllers.heron-wall.level_mode", "shift", "not known here", "same, offset"),
    ("combining.others", "locks", "not known here", "did you mean 'lock'?"),
    ("combining.blend", 1, "no unit of time", "write 1s"),
    ("combining.lead", [], "unknown key 'lead'", "did you mean 'lead_order'?"),
    ("occupancy.0.posted", 0, "not a number of people", "from 1 up"),
    ("occupancy.0.posted", ..., "'posted' is missing", "posted sign"),
    ("devices.dmx-1.driver", ..., "'driver' is missing", "protocol"),
    ("bindings.0.control", "heron", "does not name a control", "zone.control"),
    ("bindings.0.class", "safety", "not known here", "signal, power, motion"),
    ("bindings.0.curve", "cubic", "not known here", "linear, square, cie-lightness"),
    ("bindings.0.onto", [1], "is not a range", "such as [0, 1]"),
    ("bindings.0.onto", [1, 1], "both become 1", "two different"),
    ("bindings.0.device", ..., "'device' is missing", "a device"),
    ("bindings.0.step", {"channel": "1"}, "is not a number", "plain number"),
    ("bindings.0.step", {"channel": 1e300}, "beyond any device", "-1000000 to 1000000"),
    ("supplies.rack", {}, "'stagger' is missing", "500ms"),
    ("supplies.rack", {"stagger": "0s"}, "no time at all", "above 0"),
    (f"{WALL}.contacts", {"closed": {"device": "panel"}}, "'point' is missing", "driver's words"),
    (f"{WALL}.contacts", {"open": {}}, "unknown key 'open'", "closed, stacked"),
    (f"{WALL}.report", {"device": "panel", "point": {}, "values": {"open": 1}}, "'closed' is missing", "means closed"),
    ("sound.temprature", 20, "unknown key", "did you mean 'temperature'?"),
    ("sound.own_zone_reduction", -1, "below 0", "0 or more"),
    ("microphones.lectern", {"zone": "heron"}, "'at' is missing", "in metres"),
    ("loudspeakers.ceiling", {"at": [1, 1]}, "'zone' is missing", "the zone"),
    ("bindings.0.chanel", 1, "unknown key", "keys"),
    ("overrides.fire.kind", "safety", "not known here", "life-safety"),
    ("overrides.fire.input", ..., "'input' is missing", "contact"),
    ("overrides.fire.input.device", ..., "'device' is missing", "a device"),
]


@pytest.mark.parametrize(
    ("path", "value", "text", "right"), STRUCTURE, ids=[f"{r[0]}={r[1]!r}"[:60] for r in STRUCTURE]
)
def test_a_mistake_is_told_in_a_plain_sentence_and_alone(
    spoilt: Spoilt, faults: Callable[..., list[Finding]], path: str, value: Any, text: str, right: str
) -> None:
    """One mistake gives one finding, at its key, with what would be right."""
    found = faults(spoilt(path, value))
    assert len(found) == 1, "\n".join(map(str, found))
    assert text in found[0].text
    assert right in found[0].right
    assert found[0].key.replace("[", ".").replace("]", "").startswith(path)
    assert found[0].severity == "error"
    assert found[0].line == 1


def test_mistakes_in_list_entries_keep_their_index(spoilt: Spoilt, faults: Callable[..., list[Finding]]) -> None:
    """What is left out while looking further does not renumber the rest."""
    entries = [{"zones": ["heron"], "posted": -1}, {"zones": ["heron"]}, {"zones": ["nowhere"], "posted": 3}]
    entries += [{"zones": ["heron"], "posted": 5}] * 8 + [{"posted": 5}]
    keys = {f.key for f in faults(spoilt("occupancy", entries))}
    assert {"occupancy[0].posted", "occupancy[1].posted", "occupancy[2].zones[0]", "occupancy[11].zones"} <= keys
    assert "occupancy[4].zones" in keys


def test_a_mistake_in_a_part_does_not_hide_one_between_parts(
    spoilt: Spoilt, faults: Callable[..., list[Finding]]
) -> None:
    """A zone with a bad outline still has its name, and its type is still looked up."""
    tree = spoilt("zones.heron.outline", "round")
    tree["zones"]["heron"]["type"] = "hall"
    assert {f.key for f in faults(tree)} == {"zones.heron.outline", "zones.heron.type"}


def test_what_depends_on_a_part_with_a_mistake_is_not_blamed(
    spoilt: Spoilt, faults: Callable[..., list[Finding]]
) -> None:
    """The names of a type, a control or a zone with mistakes are there all the same."""
    assert "zones.heron.type" in {f.key for f in faults(spoilt("zones.heron", {"repeat": ["a"]}))}
    assert [f.key for f in faults(spoilt("zone_types.lobby", []))] == ["zone_types.lobby"]
    assert [f.key for f in faults(spoilt("controllers.heron-wall", {}))] == ["controllers.heron-wall.home"]
