"""The tables of a handover: rows of plain text, once, for the pages and for the CSV files."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from typing import Any

from roomlink.core import view
from roomlink.rehearsal import handover_evening, handover_stations
from roomlink.rehearsal.handover_model import Handover, Maker, Row, Table
from roomlink.rehearsal.handover_network import ports, settings
from roomlink.rehearsal.handover_words import control_words, figure, input_words, listing, point_words, words
from roomlink.rehearsal.survey import Charge


def tables(h: Handover) -> list[Table]:
    """Every table, in the order of the pages."""
    return [Table(name, heads, tuple(make(h))) for name, heads, make in _TABLES]


def _zones(h: Handover) -> Iterator[Row]:
    spec = h.loaded.spec
    for zone, z in h.data["zones"].items():
        homed, walls = listing(spec.homed_at[zone]), listing(spec.walls_of[zone])
        yield zone, h.zone(zone), z["type"], homed, walls, z.get("idle") or "where its controls start"


def _walls(h: Handover) -> Iterator[Row]:
    for wall, w in h.data["partitions"].items():
        between = listing(w["between"])
        yield (
            wall,
            w["name"] or wall,
            between,
            _sensing(w),
            figure(w["settle"]),
            w["on_unknown"],
            figure(w["move_limit"]),
            w["combine"],
        )


def _sensing(wall: Mapping[str, Any]) -> str:
    if wall["simulated"]:
        return "simulated contacts"
    if wall["report"]:
        return f"report of {input_words(wall['report'])}: {words(wall['report'].get('values', {}))}"
    contacts = wall["contacts"] or {}
    told = (f"{end} end, {input_words(c)}, made {words(c.get('made'))}" for end, c in contacts.items())
    return "; ".join(told) or "nothing: told by people and over HTTP"


def _groupings(h: Handover) -> Iterator[Row]:
    for room in h.survey.rooms:
        for grouping in room.groupings:
            groups = " | ".join(" + ".join(group) for group in grouping.groups)
            yield " + ".join(room.zones), groups, ", ".join(grouping.open) or "none", str(grouping.arrangements)


def _groups(h: Handover) -> Iterator[Row]:
    for charge in h.survey.charges.values():
        yield " + ".join(charge.zones), charge.lead or "nobody", _acting(charge), posted(charge)


def _acting(charge: Charge) -> str:
    """Who acts on which zones by itself; those that act on the same are told together."""
    by_zones: dict[tuple[str, ...], list[str]] = {}
    for controller, zones in charge.acts.items():
        by_zones.setdefault(tuple(zones), []).append(controller)
    whole = charge.zones if len(charge.zones) > 1 else None
    said = [f"{listing(names)} on {'all' if on == whole else listing(on)}" for on, names in by_zones.items()]
    return "; ".join([*said, *([f"locked: {listing(charge.locked)}"] if charge.locked else [])]) or "nobody"


def posted(charge: Charge) -> str:
    """The number of people as the authority has posted it."""
    return "not posted" if charge.posted is None else str(charge.posted)


def _panels(h: Handover) -> Iterator[Row]:
    order = (h.data["combining"] or {}).get("lead_order", [])
    place = {controller: str(number) for number, controller in enumerate(order, 1)}
    for name, c in h.data["controllers"].items():
        reach = "every zone" if c["reach"] is None else listing(c["reach"])
        rank = place.get(name, "never leads")
        how = (c["feedback"], c["on_link"], c["level_mode"], c["hand_links_on_close"])
        yield name, c["name"] or name, c["home"], *how, reach, rank


def _controls(h: Handover) -> Iterator[Row]:
    for zone, z in h.data["zones"].items():
        for name, control in z["controls"].items():
            yield zone, name, control.get("name") or name, control["kind"], control_words(control)


def _combining(h: Handover) -> Iterator[Row]:
    rules = h.data["combining"] or {}
    join, part = rules.get("on_combine", {}), rules.get("on_separate", {})
    for control in dict.fromkeys((*join, *part)):
        # A control that no rule names is kept as it is.
        yield control, words(join.get(control, "keep")), words(part.get(control, "keep"))


def _arrangements(h: Handover) -> Iterator[Row]:
    for key, one in h.data.get("arrangements", {}).items():
        yield key, one["name"], words(one["walls"]), figure(one["pin"] / 3600.0)


def _scenes(h: Handover) -> Iterator[Row]:
    for scene, s in h.data["scenes"].items():
        title = s["name"] or scene
        if s["zones"]:
            yield from ((scene, title, zone, words(values)) for zone, values in s["zones"].items())
        else:
            where = s["zone"] or (f"every zone of type {s['type']}" if s["type"] else "every zone")
            yield scene, title, where, words(s["values"])


def _occupancy(h: Handover) -> Iterator[Row]:
    yield from ((" + ".join(entry["zones"]), str(entry["posted"])) for entry in h.data["occupancy"])


def _overrides(h: Handover) -> Iterator[Row]:
    for name, o in h.data["overrides"].items():
        zones = "every zone" if o["zones"] is None else listing(o["zones"])
        active = f"the circuit is {o['input']['active']}, or its input is lost"
        values = words(o["values"])
        yield name, o["name"] or name, o["kind"], input_words(o["input"]), active, zones, values, figure(o["blend"])


def _devices(h: Handover) -> Iterator[Row]:
    yield from ((name, raw["driver"], settings(raw)) for name, raw in h.data["devices"].items())


def _supplies(h: Handover) -> Iterator[Row]:
    yield from ((key, supply["name"], figure(supply["stagger"])) for key, supply in h.data["supplies"].items())


def _bindings(h: Handover) -> Iterator[Row]:
    for b in h.data["bindings"]:
        ways = ((way, point_words(b[way])) for way in ("point", "open", "close") if b[way] is not None)
        point = "; ".join(text if way == "point" else f"{way}: {text}" for way, text in ways)
        armed = "needs none" if b["class"] == "signal" else armed_by(h, b)
        yield b["name"], b["control"], b["class"], b["device"], point, _becomes(b), _care(b), armed, b["digest"][:12]


def armed_by(h: Handover, binding: Mapping[str, Any]) -> str:
    """Who armed a binding of power or motion as it is now, and when."""
    arming = h.state.armed.get(binding["name"])
    if arming is None or arming.digest != binding["digest"]:
        return "disarmed"
    return f"{arming.who}, {h.when(view.rfc3339(arming.at))}"


def _becomes(binding: Mapping[str, Any]) -> str:
    if binding["values"]:
        return words(binding["values"])
    if binding["onto"]:
        low, high = binding["onto"]
        return f"{figure(low)} to {figure(high)}, {binding['curve']}"
    return "as it is"


def _care(binding: Mapping[str, Any]) -> str:
    if binding["class"] == "signal":
        return f"when it is back: {binding['on_return']}" if binding["on_return"] else ""
    said = [f"on loss: {binding['on_loss']}"]
    said += [f"{m.replace('_', ' ')} {figure(binding[m])} s" for m in ("min_on", "min_off") if binding[m]]
    said += [f"cools {figure(binding['cool'])} s before it goes off"] if binding.get("cool") else []
    said += [f"supply {binding['supply']}"] if binding["supply"] else []
    said += ["last on, first off"] if binding.get("order") else []
    return "; ".join([*said, *(["comes back on after a restart"] if binding["restore"] else [])])


def _places(h: Handover) -> Iterator[Row]:
    for section in ("microphones", "loudspeakers"):
        for key, entry in h.data[section].items():
            # A radio microphone is wherever it is carried.
            at = entry["at"] or ()
            yield section, key, entry["name"], entry["zone"], *([figure(x) for x in at] or ["", ""])


def _sound_outputs(h: Handover) -> Iterator[Row]:
    for entry in h.data.get("sound_outputs", ()):
        what = entry.get("microphone") or "all of them: delay"
        yield entry["loudspeakers"], what, entry["device"], point_words(entry["point"])


def _gains(h: Handover) -> Iterator[Row]:
    for zones, sound in _heard(h):
        for microphone, gains in sound.gains.items():
            for loudspeakers, gain in gains.items():
                yield zones, microphone, loudspeakers, gain if isinstance(gain, str) else f"{gain:.1f}"


def _delays(h: Handover) -> Iterator[Row]:
    for zones, sound in _heard(h):
        for loudspeakers, delay in sound.delays.items():
            yield zones, sound.talker or "", loudspeakers, f"{delay:.1f}"


def _heard(h: Handover) -> Iterator[tuple[str, Any]]:
    yield from ((" + ".join(c.zones), c.sound) for c in h.survey.charges.values() if c.sound is not None)


TOLD = frozenset(
    (
        "venue",
        "zones",
        "partitions",
        "controllers",
        "combining",
        "arrangements",
        "scenes",
        "occupancy",
        "sound",
        "microphones",
        "loudspeakers",
        "sound_outputs",
        "overrides",
        "devices",
        "supplies",
        "bindings",
        *handover_stations.TOLD,
        *handover_evening.TOLD,
    )
)
"""The sections of a configuration that have tables of their own."""


def _further(h: Handover) -> Iterator[Row]:
    """Every other section as it was resolved: whatever else a configuration says."""
    for section, entries in h.data.items():
        if section not in TOLD and isinstance(entries, Mapping):
            yield from ((section, name, words(entry, name)) for name, entry in entries.items())
        elif section not in TOLD and entries:
            yield section, "", words(entries)


def _checks(h: Handover) -> Iterator[Row]:
    for item in h.checks()["items"]:
        record = item["record"]
        if record is None:
            yield item["item"], item["title"], item["standing"], "", "", "", "", ""
            continue
        measured = "" if record["measured"] is None else figure(record["measured"])
        found = (measured, record["unit"], record["who"], h.when(record["at"]), record["note"])
        yield item["item"], item["title"], item["standing"], *found


def _network(h: Handover) -> Iterator[Row]:
    yield from ports(h.data["devices"], h.registry)
    yield from handover_evening.ways_out(h)


_TABLES: tuple[Maker, ...] = (
    ("zones", ("zone", "name", "type", "panels at home", "walls", "when idle"), _zones),
    (
        "walls",
        ("wall", "name", "between", "sensed by", "settle (s)", "if unknown", "move limit (s)", "combines"),
        _walls,
    ),
    ("groupings", ("divisible room", "groups", "open walls", "arrangements"), _groupings),
    ("groups", ("zones", "lead", "acting", "posted"), _groups),
    (
        "controllers",
        ("controller", "name", "home", "feedback", "on link", "levels", "hand links on close", "reach", "lead order"),
        _panels,
    ),
    ("controls", ("zone", "control", "name", "kind", "what it can be"), _controls),
    ("combining", ("control", "when zones join", "when they part"), _combining),
    ("arrangements", ("arrangement", "name", "walls", "stated for (h)"), _arrangements),
    ("scenes", ("scene", "name", "for", "values"), _scenes),
    ("occupancy", ("zones", "posted"), _occupancy),
    (
        "overrides",
        ("override", "name", "kind", "input", "active when", "zones", "values", "blend (s)"),
        _overrides,
    ),
    ("devices", ("device", "driver", "settings"), _devices),
    ("supplies", ("supply", "name", "stagger (s)"), _supplies),
    (
        "bindings",
        ("binding", "control", "class", "device", "point", "becomes", "care", "armed by", "digest"),
        _bindings,
    ),
    ("network", ("from", "to", "transport", "port", "for"), _network),
    ("places", ("what", "key", "name", "zone", "x (m)", "y (m)"), _places),
    ("sound-outputs", ("loudspeakers", "of microphone", "device", "point"), _sound_outputs),
    ("gains", ("zones", "microphone", "loudspeakers", "gain (dB)"), _gains),
    ("delays", ("zones", "counted from", "loudspeakers", "delay (ms)"), _delays),
    *handover_stations.TABLES,
    *handover_evening.TABLES,
    ("further", ("section", "entry", "what it says"), _further),
    ("checks", ("item", "title", "standing", "measured", "unit", "who", "when", "note"), _checks),
)

_NUMBER = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?")


def as_csv(table: Table) -> str:
    """RFC 4180. A cell that a spreadsheet could take for a formula begins with an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.heads)
    writer.writerows([_plain(cell) for cell in row] for row in table.rows)
    return out.getvalue()


def _plain(cell: str) -> str:
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not _NUMBER.fullmatch(cell) else cell
