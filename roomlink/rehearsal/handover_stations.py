"""Tables of a handover about what people find on walls and desks: stations, sources, microphones, overflows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from roomlink.rehearsal.handover_model import Handover, Maker, Row
from roomlink.rehearsal.handover_words import control_words, figure, listing, point_words, words

_DOES = {
    "press": "{control} on while it is held",
    "raise": "raises {control} while it is held",
    "lower": "lowers {control} while it is held",
    "toggle": "turns {control} on or off",
    "set": "sets {control} to {value}",
    "step": "changes {control} by {value} at each press",
}
"""What a key does, by the verb of its order."""


def _stations(h: Handover) -> Iterator[Row]:
    for station, s in h.data.get("stations", {}).items():
        home = h.data["zones"][h.data["controllers"][s["controller"]]["home"]]["controls"]
        for kind, told in _KINDS.items():
            for name, one in s[f"{kind}s"].items():
                does, reads = told(h, one, home)
                bounce = f"; may bounce for {figure(s['debounce'] * 1000.0)} ms" if kind == "key" else ""
                at = one["device"], point_words(one["point"])
                yield station, s["name"], s["controller"], kind, name, does, f"{reads}{bounce}", *at


def _key(h: Handover, one: Mapping[str, Any], home: Mapping[str, Any]) -> tuple[str, str]:
    reads = f"pressed: {words(one['pressed'])}" + (", each report is a press" if one["each"] else "")
    if one["scene"] is not None:
        return f"recalls the scene {h.data['scenes'][one['scene']]['name'] or one['scene']}", reads
    value = _value(one["value"], home[one["control"]])
    return _DOES[one["do"]].format(control=one["control"], value=value), reads


def _knob(h: Handover, one: Mapping[str, Any], home: Mapping[str, Any]) -> tuple[str, str]:
    spec = home[one["control"]]
    unit = spec["unit"]
    if one["step"] is not None:
        return f"turns {one['control']}", f"each reported step: {figure(one['step'])} {unit}"
    ends = one["onto"] or (spec["lo"], spec["hi"])
    reads = f"{figure(ends[0])} to {figure(ends[1])}, {one['curve']}"
    return f"sets {one['control']}, {figure(spec['lo'])} to {figure(spec['hi'])} {unit}", reads


def _lamp(h: Handover, one: Mapping[str, Any], home: Mapping[str, Any]) -> tuple[str, str]:
    control = one["control"]
    if one["shows"] == "value":
        mixed = "" if one["mixed"] is None else f"; {words(one['mixed'])} where rooms differ"
        return f"shows {control}", f"the value itself{mixed}"
    least = "at least " if one["shows"] == "at-least" else ""
    reads = f"lit: {words(one['on'])}; dark: {words(one['off'])}"
    mixed = "as dark" if one["mixed"] is None else words(one["mixed"])
    return f"lit while {control} is {least}{_value(one['is'], home[control])}", f"{reads}; where rooms differ: {mixed}"


_KINDS = {"key": _key, "knob": _knob, "lamp": _lamp}


def _value(value: Any, spec: Mapping[str, Any]) -> str:
    """A value of a control; that of a level with its unit."""
    return f"{words(value)} {spec['unit']}" if spec["kind"] == "level" else words(value)


def _sources(h: Handover) -> Iterator[Row]:
    """Those of zones, alike ones together, then the venue's."""
    found: dict[tuple[str, str], list[str]] = {}
    for zone, z in h.data["zones"].items():
        for control, spec in z["controls"].items():
            for option in spec["options"] if spec.get("sources") else ():
                found.setdefault((option, control), []).append(h.zone(zone))
    yield from ((option, listing(zones), control, "its zone's group") for (option, control), zones in found.items())
    for source, entry in h.data.get("venue_sources", {}).items():
        choices = f"those that take {listing(entry['carries'])}"
        yield f"venue/{source}", f"{entry['name']}, of the venue", choices, "every zone"


def _microphones(h: Handover) -> Iterator[Row]:
    for name, m in h.data["microphones"].items():
        controls = h.data["zones"][m["zone"]]["controls"]
        told = [
            f"{m[part]}: {control_words(controls[m[part]])}" if m.get(part) in controls else "none"
            for part in ("level", "mute")
        ]
        zones = listing(m.get("zones") or [m["zone"]])
        yield name, m["name"], "radio" if m.get("radio") else "cabled", m["zone"], zones, *told


def _overflows(h: Handover) -> Iterator[Row]:
    for name, o in h.data.get("overflows", {}).items():
        yield name, o["name"] or name, o["from"], o["to"], listing(o["carries"])


TOLD = ("stations", "venue_sources", "overflows")
"""The sections that these tables tell, beside ``microphones``."""

TABLES: tuple[Maker, ...] = (
    (
        "stations",
        ("station", "name", "controller", "kind", "entry", "what it does", "as the device has it", "device", "point"),
        _stations,
    ),
    ("sources", ("source", "of", "choice", "on offer in"), _sources),
    (
        "microphones",
        ("microphone", "name", "how", "zone at first", "may be used in", "level", "mute"),
        _microphones,
    ),
    ("overflows", ("overflow", "name", "from", "to", "carries"), _overflows),
)
