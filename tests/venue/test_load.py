"""Loading a whole venue."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roomlink.core.spec import from_data
from roomlink.drivers.registry import Registry
from roomlink.errors import VenueFault
from roomlink.limits import ZONES_MAX
from roomlink.runtime.device_rules import DriverRules
from roomlink.venue import Finding, Loaded, load
from roomlink.venue.read import read_folder

EXAMPLE = """\
venue: {id: tidewater, name: Tidewater Hall, timezone: America/Halifax}

zone_types:
  section:
    controls:
      program:  {kind: choice, options: [lectern, laptop, camera, signage], allow_none: true, gap: 300ms}
      volume:   {kind: level, unit: dB, range: [-60, 0], travel: 4s, start: -30, tolerance: 0.5, ceiling: -6}
      mute:     {kind: switch, start: on}
      house:    {kind: level, unit: "%", range: [0, 100], travel: 4s, start: 70, scope: local}
      talkback: {kind: momentary}

zones:
  heron:  {type: section, name: Heron,  outline: [[0,0],[12,0],[12,15],[0,15]]}     # metres
  plover: {type: section, name: Plover, outline: [[12,0],[24,0],[24,15],[12,15]]}
  bay:    {type: section, repeat: [east, middle, west], name: "{Name} bay"}          # bay-east, bay-middle, bay-west

partitions:
  heron-plover: {between: [heron, plover], line: [[12,0],[12,15]], settle: 2s, on_unknown: hold}

controllers:
  heron-wall:  {home: heron,  feedback: mismatch-flag, on_link: keep,  level_mode: same}
  plover-wall: {home: plover, feedback: majority}

combining:
  lead_order: [heron-wall, plover-wall]
  others: mirror
  blend: 1s
  on_combine:  {program: lead, volume: quietest, mute: lead}
  on_separate: {program: none, volume: restore, mute: restore}

occupancy: [{zones: [heron], posted: 160}, {zones: [heron, plover], posted: 330}]
scenes: {dinner: {type: section, values: {house: 35, program: signage, volume: -38}}}
devices: {dmx-1: {driver: e131, universe: 1}}
bindings: [{control: heron.house, device: dmx-1, point: {channel: 1}, curve: square}]
overrides: {fire: {kind: life-safety, input: {device: relays-1, point: {input: 1}}, values: {mute: on, house: 100}}}
"""

TEN_MISTAKES = """\
venue: {id: harbour, name: Harbour House, timezone: America/Halifaxx}

zone_types:
  section:
    controls:
      program: {kind: choice, options: [lectern, keep], gap: 300}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: 10}

zones:
  heron: {type: section, outlin: [[0, 0], [12, 0], [12, 15]]}
  plover: {type: sektion}

partitions:
  heron-plover:
    between: [heron, tern]
    motor: relay-1

controllers:
  heron-wall: {home: heron, feedback: majority-of-two}

scenes:
  dinner: {type: section, values: {volum: -38}}
"""

PLACES = [
    (1, 53, "venue.timezone", "did you mean 'America/Halifax'?"),
    (6, 50, "zone_types.section.controls.program.options[1]", "another name"),
    (6, 62, "zone_types.section.controls.program.gap", "write 300s"),
    (7, 75, "zone_types.section.controls.volume.start", "-60 to 0"),
    (10, 26, "zones.heron.outlin", "did you mean 'outline'?"),
    (11, 18, "zones.plover.type", "did you mean 'section'?"),
    (15, 22, "partitions.heron-plover.between[1]", "there is heron, plover"),
    (16, 5, "partitions.heron-plover.motor", "sensed, never driven"),
    (19, 39, "controllers.heron-wall.feedback", "did you mean 'majority'?"),
    (22, 36, "scenes.dinner.values.volum", "did you mean 'volume'?"),
]


def test_ten_mistakes_are_ten_errors_with_their_places(faults: Callable[..., list[Finding]]) -> None:
    """All at once, in the order of the file, each with what would be right."""
    found = faults(venue=TEN_MISTAKES)
    assert [(f.line, f.column, f.key) for f in found] == [(line, column, key) for line, column, key, _ in PLACES]
    for finding, (*_, right) in zip(found, PLACES, strict=True):
        assert right in finding.right
    assert all(f.severity == "error" for f in found)


def test_the_fault_prints_as_lines_that_editors_can_follow(faults: Callable[..., list[Finding]]) -> None:
    """file:line:column: key: text; right."""
    first = faults(venue=TEN_MISTAKES)[0]
    assert str(first) == (
        f"{first.file}:1:53: venue.timezone: 'America/Halifaxx' is not a time zone; did you mean 'America/Halifax'?"
    )
    assert first.file.endswith("venue.yaml")


def test_the_documented_example_loads(venue: Callable[..., Loaded]) -> None:
    """All that it says is in the data."""
    loaded = venue(venue=EXAMPLE)
    assert [w.key for w in loaded.warnings] == ["overrides.fire.input.device"]
    assert list(loaded.data["zones"]) == ["heron", "plover", "bay-east", "bay-middle", "bay-west"]
    assert loaded.data["zones"]["bay-east"]["name"] == "East bay"
    spec = loaded.spec
    assert (spec.id, spec.name, spec.timezone) == ("tidewater", "Tidewater Hall", "America/Halifax")
    volume = spec.zones["heron"].controls["volume"]
    assert (volume.lo, volume.hi, volume.travel, volume.start, volume.tolerance, volume.ceiling) == (
        -60.0,
        0.0,
        4.0,
        -30.0,
        0.5,
        -6.0,
    )
    assert spec.zones["plover"].controls["mute"].start is True
    assert spec.zones["plover"].controls["program"].gap == 0.3
    assert spec.zones["plover"].controls["house"].scope == "local"
    wall = spec.partitions["heron-plover"]
    assert (wall.between, wall.settle, wall.on_unknown, wall.move_limit) == (("heron", "plover"), 2.0, "hold", 600.0)
    assert spec.controllers["plover-wall"].feedback == "majority"
    assert spec.combining is not None
    assert (spec.combining.lead_order, spec.combining.others) == (("heron-wall", "plover-wall"), "mirror")
    assert spec.combining.on_separate == {"program": "none", "volume": "restore", "mute": "restore"}
    assert spec.scenes["dinner"].values == {"house": 35.0, "program": "signage", "volume": -38.0}


def test_every_member_of_the_resolved_data_is_written_out(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """Whoever reads the data needs no defaults."""
    data = venue(sound).data
    assert data["venue"] == {"id": "harbour", "name": "Harbour", "timezone": "America/Halifax"}
    assert list(data) == [
        "venue",
        "zones",
        "partitions",
        "controllers",
        "combining",
        "scenes",
        "occupancy",
        "sound",
        "microphones",
        "loudspeakers",
        "venue_sources",
        "overflows",
        "bookings",
        "routines",
        "crews",
        "calendar",
        "webhooks",
        "overrides",
        "devices",
        "supplies",
        "bindings",
        "sound_outputs",
    ]
    assert data["zones"]["foyer"]["outline"] is None
    assert data["zones"]["heron"]["controls"]["program"] == {
        "kind": "choice",
        "options": ["lectern", "laptop"],
        "allow_none": True,
        "gap": 0.3,
        "sources": True,
        "carries": ["sound", "picture"],
        "start": None,
        "fallback": None,
        "scope": "group",
        "name": "Program",
        "section": "",
    }
    assert data["zones"]["heron"]["controls"]["volume"] == {
        "kind": "level",
        "unit": "dB",
        "lo": -60.0,
        "hi": 0.0,
        "travel": 3.0,
        "start": -60.0,
        "tolerance": 0.0,
        "ceiling": -6.0,
        "unmute_on_raise": None,
        "sound": None,
        "scope": "group",
        "name": "Volume",
        "section": "",
    }
    assert data["zones"]["heron"]["controls"]["mute"] == {
        "kind": "switch",
        "start": True,
        "min_on": 0.0,
        "min_off": 0.0,
        "mutes": None,
        "scope": "group",
        "name": "Mute",
        "section": "",
    }
    assert data["partitions"]["heron-plover"] == {
        "name": "Heron plover",
        "between": ["heron", "plover"],
        "line": [[12.0, 0.0], [12.0, 15.0]],
        "settle": 2.0,
        "on_unknown": "hold",
        "move_limit": 600.0,
        "move_minutes": None,
        "combine": "auto",
        "sensed": False,
        "simulated": False,
        "contacts": None,
        "report": None,
    }
    assert data["controllers"]["heron-wall"] == {
        "home": "heron",
        "name": "Heron wall",
        "feedback": "mismatch-flag",
        "on_link": "keep",
        "level_mode": "same",
        "reach": None,
        "hand_links_on_close": "end",
    }


def test_the_data_survives_json_with_its_order(venue: Callable[..., Loaded], sound: dict[str, Any]) -> None:
    """A journal carries it; the core reads the same venue back."""
    loaded = venue(sound)
    again = json.loads(json.dumps(loaded.data))
    assert again == loaded.data
    assert list(again["zones"]) == ["heron", "plover", "foyer"]
    assert from_data(again) == loaded.spec


def test_the_digest_tells_content_and_order_and_nothing_else(
    venue: Callable[..., Loaded], sound: dict[str, Any], spoilt: Callable[[str, Any], dict[str, Any]]
) -> None:
    """The same venue written differently is the same; another order of zones is another venue."""
    first = venue(sound)
    assert len(first.digest) == 64
    assert venue(venue="# a comment\n" + json.dumps(sound, indent=2)).digest == first.digest
    assert venue(spoilt("zones.heron.name", "Heron")).digest == first.digest
    assert venue(spoilt("zones.heron.name", "Grey heron")).digest != first.digest
    turned = {**sound, "zones": dict(reversed(sound["zones"].items()))}
    assert venue(turned).digest != first.digest


def test_simulated_contacts_are_told_in_the_data(
    venue: Callable[..., Loaded], spoilt: Callable[[str, Any], dict[str, Any]]
) -> None:
    """Nothing is sensed there, and a screen may work the contacts."""
    wall = venue(spoilt("partitions.heron-plover.contacts", "simulated")).data["partitions"]["heron-plover"]
    assert (wall["sensed"], wall["simulated"]) == (False, True)


def test_a_venue_of_ten_thousand_zones_loads(venue: Callable[..., Loaded]) -> None:
    """Stamped zones share their controls: the core compares them by identity."""
    words = ", ".join(f"r{n}" for n in range(10_000))
    loaded = venue(
        venue="venue: {id: big, timezone: UTC}\n"
        "zone_types: {room: {controls: {volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s}}}}\n"
        f"zones: {{bay: {{type: room, step: [5, 0], outline: [[0, 0], [5, 0], [5, 5]], repeat: [{words}]}}}}\n"
    )
    assert len(loaded.spec.zones) == 10_000
    assert loaded.spec.zones["bay-r0"].controls is loaded.spec.zones["bay-r9999"].controls
    assert loaded.data["zones"]["bay-r9999"]["outline"][0] == [49995.0, 0.0]


def test_more_zones_than_the_service_bears_are_refused(faults: Callable[..., list[Finding]]) -> None:
    """The bound is in the sentence."""
    words = ", ".join(f"r{n}" for n in range(ZONES_MAX + 1))
    found = faults(
        venue="venue: {id: big, timezone: UTC}\nzone_types: {room: {controls: {}}}\n"
        f"zones: {{bay: {{type: room, repeat: [{words}]}}}}\n"
    )
    assert [f.right for f in found] == [f"keep it to {ZONES_MAX}"]


def test_parts_can_be_found_where_they_were_written(venue: Callable[..., Loaded]) -> None:
    """A stamped zone is at the entry that it was stamped from; what was not written is at what is around it."""
    loaded = venue(venue=EXAMPLE)
    assert loaded.place(("zones", "bay-east")).line == 15
    assert loaded.place(("zones", "plover", "outline")).line == 14
    assert loaded.place(("zones", "plover", "controls", "volume")).line == 14
    assert loaded.place(("nothing",)).line == 1


SECTIONS = ["venue", "zone_types", "zones", "partitions", "controllers", "combining", "scenes", "occupancy"]
SECTIONS += ["devices", "supplies", "bindings", "overrides", "sound", "microphones", "loudspeakers", "zonez"]
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=4),
    st.sampled_from(["heron", "section", "3s", "on", "none", "lead", "quietest", "level", "choice", "switch", "room"]),
)
KEYS = st.one_of(
    st.text(max_size=3),
    st.sampled_from(["heron", "section", "type", "zone", "zones", "values", "controls", "kind", "options", "range"]),
    st.sampled_from(["point", "open", "close", "class", "curve", "onto", "follow", "step", "contacts", "report", "at"]),
    st.sampled_from(["unit", "travel", "repeat", "home", "between", "lead_order", "on_combine", "input", "device"]),
)
JUNK = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=12,
)
FILLED = st.dictionaries(st.sampled_from(SECTIONS), st.one_of(JUNK, st.dictionaries(KEYS, JUNK, max_size=3)))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tree=FILLED)
def test_any_tree_is_a_venue_fault_and_nothing_else(tree: dict[str, Any], tmp_path: Path) -> None:
    """Without a sound venue section and a zone none of these can load."""
    (tmp_path / "venue.yaml").write_text(json.dumps(tree), encoding="utf-8")
    with pytest.raises(VenueFault):
        load(tmp_path)


TIDEWATER = read_folder(Path(__file__).parents[2] / "config" / "tidewater").tree
RULES = DriverRules(Registry.of(plugins=[]))


@pytest.mark.parametrize("rules", [None, RULES], ids=["structure", "drivers"])
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_sound_venue_with_junk_in_one_place_loads_or_is_a_venue_fault(
    data: st.DataObject, rules: DriverRules | None, sound: dict[str, Any], tmp_path: Path
) -> None:
    """Wherever the junk is, nothing but a venue or a venue fault comes about, and the data is JSON."""
    tree = json.loads(json.dumps(data.draw(st.sampled_from([sound, TIDEWATER]))))
    around: Any = tree
    while True:
        at = data.draw(st.sampled_from(list(around) if isinstance(around, dict) else list(range(len(around)))))
        if not (isinstance(around[at], dict | list) and around[at]) or data.draw(st.booleans()):
            break
        around = around[at]
    if isinstance(around, dict) and data.draw(st.booleans()):
        at = data.draw(KEYS)
    around[at] = data.draw(JUNK)
    (tmp_path / "venue.yaml").write_text(json.dumps(tree), encoding="utf-8")
    try:
        loaded = load(tmp_path, rules)
    except VenueFault as fault:
        findings = fault.findings
    else:
        findings = loaded.warnings
        assert json.loads(json.dumps(loaded.data, allow_nan=False)) == loaded.data
    assert all(f.line for f in findings)
