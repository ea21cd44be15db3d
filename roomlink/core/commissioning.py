"""What people check on site before a venue is handed over: a list made from the configuration, and what they found.

An item's id has three parts, the kind of thing, its name and the check: ``wall/heron-plover/closed``. It stays the same
as long as the thing keeps its name. A record keeps the digest of what was checked: where that has changed since, the
item is to be done again. Names for people and the drawing of the plan are no part of it.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.core.checks import require
from roomlink.core.commands import RecordCheck
from roomlink.core.events import Checked
from roomlink.core.overrides import SOUND_UNITS
from roomlink.core.records import Check
from roomlink.core.spec import BindingSpec, LevelSpec, MotionSpec, Spec
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue

RESULTS = ("pass", "fail", "not-applicable", "open")
"""What can be put down; ``open`` takes back what was put down by mistake."""
STANDINGS = ("pass", "fail", "not-applicable", "again", "open")
"""How an item can stand; ``again``: what was checked has changed since."""
WHO_CHARS_MAX, NOTE_CHARS_MAX, UNIT_CHARS_MAX = 200, 2000, 20

_REASONS = {"fail": "say what is wrong", "not-applicable": "say why it does not apply here"}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to check. ``unit`` is that of what is usually measured, empty where nothing is."""

    kind: str
    of: str
    check: str
    title: str
    how: str
    unit: str
    digest: str

    @property
    def id(self) -> str:
        return f"{self.kind}/{self.of}/{self.check}"


def items(spec: Spec) -> Iterator[Item]:
    """Every item of a venue: walls, panels, devices, bindings, override inputs, ceilings; each in venue order."""
    for kind in _KINDS:
        for name in _names(spec, kind):
            yield from _KINDS[kind](spec, name)


def find(spec: Spec, item: str) -> Item:
    """The item of that id. Raises ``UnknownName`` with what there is instead."""
    kind, _, rest = item.partition("/")
    name, _, _ = rest.rpartition("/")
    require("kind of commissioning item", kind, list(_KINDS))
    require(f"{kind} to check", name, _names(spec, kind))
    found = {one.id: one for one in _KINDS[kind](spec, name)}
    require("commissioning item", item, found)
    return found[item]


def standing(state: State, item: Item) -> str:
    """One of ``STANDINGS``."""
    record = state.checks.get(item.id)
    if record is None or record.result == "open":
        return "open"
    return record.result if record.digest == item.digest else "again"


def record_check(draft: Draft, command: RecordCheck) -> dict[str, Any]:
    """Put down what was found. It replaces what was put down before, which stays in the journal."""
    item = find(draft.spec, command.item)
    if command.result not in RESULTS:
        raise BadValue("result", f"{command.result!r} is none of {', '.join(RESULTS)}", allowed=list(RESULTS))
    who, note = _text("who", command.who, WHO_CHARS_MAX), _text("note", command.note, NOTE_CHARS_MAX)
    if not who:
        raise BadValue("who", "name the person who checked it on site")
    if not note and command.result in _REASONS:
        raise BadValue("note", _REASONS[command.result])
    measured, unit = _measured(item, command)
    draft.emit(Checked(item.id, Check(command.result, who, draft.now, item.digest, measured, unit, note)))
    return {"zones": [], "item": item.id, "standing": standing(draft, item)}


def _text(field: str, text: str, most: int) -> str:
    text = text.strip()
    if len(text) > most:
        raise BadValue(field, f"has at most {most} characters", maximum=most)
    return text


def _measured(item: Item, command: RecordCheck) -> tuple[float | None, str]:
    value = command.measured
    if value is None:
        return None, ""
    # A whole number may be too large for a float; what is not finite cannot be written as JSON.
    if isinstance(value, bool) or not isinstance(value, int | float) or not -1e15 < value < 1e15:
        raise BadValue("measured", f"{value!r} is not what can be measured: give a number in the unit")
    unit = _text("unit", command.unit, UNIT_CHARS_MAX) or item.unit
    if not unit:
        raise BadValue("unit", "say in which unit it was measured, such as s, lx or dB(A)")
    assert math.isfinite(value)
    return float(value), unit


# What there is to check. Each function makes the items of one thing of its kind.


def _names(spec: Spec, kind: str) -> Iterable[str]:
    if kind == "binding":
        return {binding.name: None for binding in spec.bindings}
    if kind == "ceiling":
        return {
            f"{zone}.{name}": None
            for zone, z in spec.zones.items()
            for name, control in z.controls.items()
            if isinstance(control, LevelSpec) and control.ceiling is not None
        }
    things: Mapping[str, Any] = {
        "wall": spec.partitions,
        "panel": spec.controllers,
        "device": spec.data.get("devices", {}),
        "override": spec.overrides,
    }[kind]
    return things


def _digest(*parts: Any) -> str:
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _read(spec: Spec, entry: Mapping[str, Any] | None) -> Any:
    """An input as it is wired: what is read where. A point's name is the driver's word, and no part of that."""
    if not entry:
        return None
    wired = {key: value for key, value in entry.items() if key != "point_name"}
    return wired, spec.data.get("devices", {}).get(entry.get("device"))


def _walls(spec: Spec, name: str) -> Iterator[Item]:
    wall = spec.data["partitions"][name]
    contacts = wall.get("contacts") or {}
    rest = {key: wall[key] for key in ("between", "settle", "on_unknown", "move_limit", "simulated") if key in wall}
    wired = [[member, _read(spec, contact)] for member, contact in contacts.items()]
    digest = _digest("wall", rest, wired, _read(spec, wall.get("report")))
    title = wall.get("name") or name
    a, b = (spec.zones[zone].name or zone for zone in wall["between"])
    for position in ("closed", "open"):
        how = (
            f"Run the wall between {a} and {b} until it is {position}: the plan shows it {position}, and no other wall."
        )
        yield Item("wall", name, position, f"{title}: {position}", how, "s", digest)
    if len(contacts) > 1:
        how = "Stop it half way: the plan shows it moving, and what was joined stays joined."
        yield Item("wall", name, "moving", f"{title}: half way", how, "", digest)
    if contacts or wall.get("report"):
        kept = "closed" if wall.get("on_unknown") == "closed" else "as it was last known"
        how = f"Take its sensor off the network: the plan shows it unknown, an alarm stands, and it counts {kept}."
        yield Item("wall", name, "unknown", f"{title}: sensor lost", how, "s", digest)


_FEEDBACK = {
    "mismatch-flag": "the panel shows no value, and names the room that differs",
    "majority": "the panel shows what more than half of the rooms have, and names the one that differs",
    "last-linked": "the panel shows what the room linked last has, and names the one that differs",
}


def _panels(spec: Spec, name: str) -> Iterator[Item]:
    panel = spec.controllers[name]
    reach = list(spec.zones) if panel.reach is None else list(dict.fromkeys((panel.home, *panel.reach)))
    title, home = panel.name or name, spec.zones[panel.home].name or panel.home
    rules = {"home": panel.home, "on_link": panel.on_link, "level_mode": panel.level_mode}
    if len(reach) > 1:
        how = f"Link each of its {len(reach)} rooms, press, and unlink: those linked follow, and no other does."
        differs = f"Link rooms and set one differently from another panel: {_FEEDBACK[panel.feedback]}."
    else:
        how = f"Press each key: {home} follows, and no other room does."
        differs = f"Change each control of {home} from elsewhere: the panel shows it."
    shown = spec.data["zones"][panel.home]["controls"]
    controls = {c: {k: v for k, v in one.items() if k not in ("name", "section")} for c, one in shown.items()}
    yield Item("panel", name, "links", f"{title}: links", how, "", _digest("links", rules, reach))
    digest = _digest("feedback", rules, panel.feedback, reach, controls)
    yield Item("panel", name, "feedback", f"{title}: feedback", differs, "", digest)


def _devices(spec: Spec, name: str) -> Iterator[Item]:
    how = (
        "Pull its plug: an alarm says so. Put it back: the alarm goes, and it is as wanted. "
        "One that only receives cannot be missed; note that, and see that it follows."
    )
    digest = _digest("device", spec.data["devices"][name])
    yield Item("device", name, "reachable", f"{name}: reachable", how, "s", digest)


_MOVES = {
    "choice": "Choose each option in turn, and none",
    "level": "Run it from end to end",
    "switch": "Switch it on and off",
    "momentary": "Hold it and let go",
    "motion": "Run it both ways, let go half way, and run it to both ends",
}
_LOSS = {"off": "its outputs drop", "holds": "its outputs hold", "unknown": "note what its outputs do"}


def _bindings(spec: Spec, name: str) -> Iterator[Item]:
    binding = next(b for b in spec.bindings if b.name == name)
    control = spec.zones[binding.zone].controls[binding.control]
    title = f"{spec.zones[binding.zone].name or binding.zone}, {_label(control.name, binding.control)}"
    armed = binding.cls != "signal"
    first = "With the place clear and its own protection proven, arm it. " if armed else ""
    follows, unit = "the right thing follows, and nothing else does", ""
    if isinstance(control, MotionSpec):
        follows = f"it moves the right way, stops, and never runs longer than {control.max_run:g} s"
        unit = "s"
    how = f"{first}{_MOVES[control.kind]}: {follows}."
    yield Item("binding", name, "moves", f"{title}: through {binding.device}", how, unit, binding.digest)
    if armed:
        how = f"Take {binding.device} off the network while it is on: {_LOSS[_on_loss(spec, binding)]}."
        yield Item("binding", name, "loss", f"{title}: {binding.device} lost", how, "s", binding.digest)


def _label(name: str, key: str) -> str:
    return (name or key.replace("-", " ")).lower()


def _on_loss(spec: Spec, binding: BindingSpec) -> str:
    written = (b for b in spec.data.get("bindings", ()) if b.get("name", b["control"]) == binding.name)
    found: Mapping[str, Any] = next(written, {})
    return str(found.get("on_loss", "unknown"))


def _overrides(spec: Spec, name: str) -> Iterator[Item]:
    override = spec.data["overrides"][name]
    rest = {key: value for key, value in override.items() if key not in ("name", "input")}
    digest = _digest("override", rest, _read(spec, override.get("input")))
    title = override.get("name") or name
    active = (override.get("input") or {}).get("active", "open")
    stands = "it stands on every panel, and what it masks is as it should be"
    clears = "it clears, and nothing comes back by itself but light"
    outcome = {
        "open": stands if active == "open" else clears,
        "closed": clears if active == "open" else stands,
        "cable-cut": stands if active == "open" else "nothing shows it: note what else tells of a broken wire",
    }
    words = {"open": "Open the contact", "closed": "Close the contact", "cable-cut": "Cut its cable, or unclamp it"}
    for check, text in words.items():
        shown = check.replace("-", " ")
        yield Item("override", name, check, f"{title}: {shown}", f"{text}: {outcome[check]}.", "s", digest)


def _ceilings(spec: Spec, name: str) -> Iterator[Item]:
    zone, _, control = name.partition(".")
    level = spec.zones[zone].controls[control]
    assert isinstance(level, LevelSpec)
    sound = level.unit in SOUND_UNITS
    title = f"{spec.zones[zone].name or zone}, {_label(level.name, control)}: ceiling"
    at = f"{level.top:g} {level.unit}".replace("-", "\u2212")
    where = "and measure where it is loudest for people" if sound else "and measure"
    how = f"Raise it until it stops at {at}, {'from the loudest source, ' if sound else ''}{where}."
    driven = [b.digest for b in spec.bindings if (b.zone, b.control) == (zone, control)]
    digest = _digest("ceiling", level.unit, level.lo, level.hi, level.ceiling, driven)
    yield Item("ceiling", name, "highest", title, how, "dB(A)" if sound else level.unit, digest)


_KINDS: dict[str, Callable[[Spec, str], Iterator[Item]]] = {
    "wall": _walls,
    "panel": _panels,
    "device": _devices,
    "binding": _bindings,
    "override": _overrides,
    "ceiling": _ceilings,
}
KINDS = tuple(_KINDS)
