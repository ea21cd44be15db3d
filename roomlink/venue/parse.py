"""From a tree of plain values to models, and from pydantic's errors to plain sentences.

A part that does not fit its model is noted and left out, and the rest is looked at again: so one mistake never hides
another, and what can be checked further is.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from roomlink.venue import (
    alarm_models,
    calendar_models,
    diary_models,
    equipment,
    evening_models,
    models,
    station_models,
    travel_models,
)
from roomlink.venue.controls import KINDS, AnyControl, Choice, Control
from roomlink.venue.fields import shown
from roomlink.venue.findings import Path, Report, listing, nearest

_CONTROL: TypeAdapter[AnyControl] = TypeAdapter(Control)
_LISTS = ("occupancy", "bindings", "sound_outputs", "webhooks")
# Stands in for a venue section with mistakes, so that the other sections can be looked at.
STAND_IN = {"id": "stand-in", "timezone": "UTC"}

_SHAPES: dict[Path, type[BaseModel]] = {
    (): models.Configuration,
    ("venue",): models.Venue,
    ("zone_types", "*"): models.ZoneType,
    ("zones", "*"): models.Zone,
    ("partitions", "*"): models.Partition,
    ("controllers", "*"): models.Controller,
    ("combining",): models.Combining,
    ("scenes", "*"): models.Scene,
    ("occupancy", "*"): models.Occupancy,
    ("bookings",): diary_models.Bookings,
    ("routines", "*"): diary_models.Routine,
    ("routines", "*", "cron"): diary_models.Cron,
    ("crews", "*"): diary_models.Crew,
    ("devices", "*"): equipment.Device,
    ("supplies", "*"): equipment.Supply,
    ("bindings", "*"): equipment.Binding,
    ("overrides", "*"): equipment.Override,
    ("stations", "*"): station_models.Station,
    ("stations", "*", "keys", "*"): station_models.Key,
    ("stations", "*", "knobs", "*"): station_models.Knob,
    ("stations", "*", "lamps", "*"): station_models.Lamp,
    ("locks", "*"): station_models.ReadyLock,
    ("overrides", "*", "input"): equipment.Input,
    ("partitions", "*", "contacts"): equipment.Contacts,
    ("partitions", "*", "contacts", "*"): equipment.Contact,
    ("partitions", "*", "report"): equipment.WallReport,
    ("partitions", "*", "report", "values"): equipment.Positions,
    ("sound",): equipment.Sound,
    ("microphones", "*"): equipment.Microphone,
    ("venue_sources", "*"): travel_models.VenueSource,
    ("overflows", "*"): travel_models.Overflow,
    ("loudspeakers", "*"): equipment.Loudspeaker,
    ("calendar",): calendar_models.Calendar,
    ("calendar", "feeds", "*"): calendar_models.Feed,
    ("webhooks", "*"): calendar_models.Webhook,
    ("alarms",): alarm_models.Alarms,
    ("alarms", "suppressed", "*"): alarm_models.Suppressed,
    ("alarms", "suppressed", "*", "while"): alarm_models.While,
    ("alarms", "mqtt"): alarm_models.AlarmTopic,
    ("sound_outputs", "*"): equipment.SoundOutput,
    ("paging", "*"): evening_models.Paging,
    ("paging", "*", "input"): equipment.Contact,
    ("presence", "*"): evening_models.Presence,
    ("partitions", "*", "pass_door"): equipment.Contact,
}

_DRIVE_WORDS = {
    "drive",
    "driven",
    "driver",
    "motor",
    "motors",
    "device",
    "output",
    "outputs",
    "relay",
    "power",
    "motion",
}
_NEVER_DRIVEN = (
    "leave it out: operable partitions are sensed, never driven. Published rules for powered partitions ask for two "
    "key-operated constant-pressure stations in view of the wall, and a browser button is not that"
)

_WANTED = {
    "string_type": ("a text", "write a word, or text in quotes"),
    "list_type": ("a list", "write it as [one, two]"),
    "dict_type": ("a mapping", "write it as {key: value}"),
    "model_type": ("a mapping", "write it as {key: value}"),
    "model_attributes_type": ("a mapping", "write it as {key: value}"),
}


@dataclass(frozen=True, slots=True)
class Parsed:
    """What fits the models; ``origin`` maps the entries of list sections to their index as written."""

    model: models.Configuration
    origin: Mapping[str, list[int]]


def parse(raw: Mapping[str, Any], report: Report) -> Parsed:
    """The models of a tree; every error is noted in ``report``, and the part that it spoils is left out."""
    tree = copy.deepcopy(dict(raw))
    origin = {s: list(range(len(tree[s]))) for s in _LISTS if isinstance(tree.get(s), list)}
    cut: set[Path] = set()
    while True:
        try:
            return Parsed(models.Configuration.model_validate(tree), origin)
        except ValidationError as error:
            details = error.errors(include_url=False)
        paths = [_path(detail) for detail in details]
        for detail, (path, on_key) in zip(details, paths, strict=True):
            # What was cut out before is missing now: that has been told.
            if not (detail["type"] == "missing" and path in cut):
                written = _as_written(path, origin)
                sentence = _sentence(detail, path, _around(tree, path))
                report.add(written, *sentence, key=on_key or detail["type"] == "extra_forbidden")
        units = {_unit(path, detail["type"]) for detail, (path, _) in zip(details, paths, strict=True)}
        # From the back, so that what is cut from a list moves nothing that is still to be cut.
        for unit in sorted(units, key=_rank, reverse=True):
            _cut(tree, unit, origin)
        cut |= units


def parse_control(
    raw: Mapping[str, Any], path: Path, report: Report, venue: Mapping[str, Sequence[str]] | None = None
) -> AnyControl | None:
    """One control, such as a zone's own form of its type's; None with findings in ``report`` where it is unsound.

    ``venue`` holds the sources that belong to no zone, with what each carries.
    """
    try:
        control = _CONTROL.validate_python(raw)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            at = (*path, *detail["loc"][1:])
            report.add(at, *_sentence(detail, ("zone_types", "*", "controls", "*", *detail["loc"][1:]), raw))
        return None
    return control if sound(control, path, report, venue or {}) else None


def sound(control: AnyControl, path: Path, report: Report, venue: Mapping[str, Sequence[str]]) -> bool:
    """Whether the members of a control go together, in a venue with these sources."""
    if isinstance(control, Choice):
        control.among(venue)
    faults = list(control.faults())
    for fault in faults:
        report.add((*path, fault.member), fault.text, fault.right, severity=fault.severity)
    return all(fault.severity == "warning" for fault in faults)


def _path(detail: ErrorDetails) -> tuple[Path, bool]:
    """Where an error is, and whether it is about the key itself."""
    path = [part for part in detail["loc"] if not str(part).startswith(equipment.TAG)]
    if detail["type"] == "extra_forbidden" and str(detail["loc"][-1]).startswith(equipment.TAG):
        path.append(detail["loc"][-1])  # written in the file: a mark of ours is never last there
    if detail["type"] in ("union_tag_invalid", "union_tag_not_found"):
        path.append("kind")
    # pydantic puts the kind of a control between the control and its member.
    if len(path) > 4 and path[0] == "zone_types" and path[2] == "controls" and path[4] in KINDS:
        del path[4]
    if path and path[-1] == "[key]":
        return tuple(path[:-1]), True
    return tuple(path), False


def _around(tree: Mapping[str, Any], path: Path) -> Any:
    """The mapping that holds the key at ``path``."""
    around: Any = tree
    for part in path[:-1]:
        if isinstance(around, dict):
            around = around.get(part)
        elif isinstance(around, list):
            around = around[int(part)]
    return around


def _as_written(path: Path, origin: Mapping[str, list[int]]) -> Path:
    if len(path) > 1 and path[0] in origin and isinstance(path[1], int):
        return (path[0], origin[str(path[0])][path[1]], *path[2:])
    return path


def _unit(path: Path, error: str) -> Path:
    """What is left out because of an error: as little as still makes sense by itself."""
    if path[:1] == ("venue",):
        return ("venue",)
    if error == "missing":
        path = path[:-1]
    depth = {
        "zone_types": 4,
        "combining": 3,
        "occupancy": 2,
        "bindings": 2,
        "sound_outputs": 2,
        "devices": 2,
        "overrides": 2,
        "stations": 4,
        "locks": 2,
        "calendar": 2,
        "webhooks": 2,
        "alarms": 2,
        "venue_sources": 2,
        "paging": 2,
        "bookings": 2,
        "presence": 2,
        "overflows": 2,
    }
    unit = path[: depth.get(str(path[0]) if path else "", 3)]
    # lead_order is left out whole: without one entry it would be another order.
    return unit[:2] if unit[:1] == ("combining",) and isinstance(unit[-1], int) else unit


def _cut(tree: dict[str, Any], unit: Path, origin: dict[str, list[int]]) -> None:
    if unit == ("venue",) or not unit:
        tree["venue"] = dict(STAND_IN)
        return
    around: Any = tree
    for part in unit[:-1]:
        around = around[int(part)] if isinstance(around, list) else around.get(part, {})
    if isinstance(around, list) and isinstance(unit[-1], int):
        del around[unit[-1]]
        del origin[str(unit[0])][unit[-1]]
    elif isinstance(around, dict):
        around.pop(unit[-1], None)


def _rank(unit: Path) -> list[tuple[str, int]]:
    return [(part, 0) if isinstance(part, str) else ("", part) for part in unit]


def _shape(path: Path, input_: Any) -> type[BaseModel] | None:
    """The model that the mapping at ``path`` is read as."""
    if len(path) == 4 and path[0] == "zone_types":
        return KINDS.get(str(input_.get("kind"))) if isinstance(input_, dict) else None
    for shape, model in _SHAPES.items():
        if len(shape) == len(path) and all(a in ("*", b) for a, b in zip(shape, path, strict=True)):
            return model
    return None


def _keys(model: type[BaseModel]) -> dict[str, str]:
    """The keys of a model, with what each means."""
    return {field.alias or key: field.description or "" for key, field in model.model_fields.items()}


def _sentence(detail: ErrorDetails, path: Path, around: Any = None) -> tuple[str, str]:
    """What is wrong, and what would be right."""
    kind, ctx, value = detail["type"], detail.get("ctx", {}), detail["input"]
    if kind == "venue":
        return str(ctx["text"]), str(ctx["right"])
    if kind == "extra_forbidden":
        return _unknown_key(path, around)
    if kind == "missing":
        shape = _shape(path[:-1], value)
        meaning = _keys(shape).get(str(path[-1]), "") if shape else ""
        return f"{path[-1]!r} is missing", f"write {path[-1]}: {meaning}" if meaning else f"write {path[-1]}:"
    if kind == "literal_error":
        allowed = str(ctx["expected"]).replace(" or ", ", ").replace("'", "").split(", ")
        return f"{shown(value)} is not known here", _one_of(value, allowed)
    if kind == "union_tag_not_found":
        return "'kind' is missing", f"write kind: and one of {listing(KINDS)}"
    if kind == "union_tag_invalid":
        tag = value.get("kind") if isinstance(value, dict) else None
        return f"there is no kind {shown(tag)} of control", _one_of(tag, list(KINDS))
    if kind == "string_pattern_mismatch":
        return f"{shown(value)} does not name a control of a zone", "write zone.control, such as heron.house"
    if kind == "string_too_short":
        return "the text is empty", "write a name"
    if kind in _WANTED:
        wanted, right = _WANTED[kind]
        return f"{shown(value)} is not {wanted}", right
    return detail["msg"][:1].lower() + detail["msg"][1:], ""


def _one_of(value: object, allowed: list[str]) -> str:
    close = nearest(value, allowed) if isinstance(value, str) else None
    return (f"did you mean {close!r}? " if close else "") + f"write one of {listing(allowed)}"


def _unknown_key(path: Path, around: Any) -> tuple[str, str]:
    key = str(path[-1])
    text = f"unknown key {key!r}"
    if len(path) == 3 and path[0] == "partitions" and key in _DRIVE_WORDS:
        return f"{key!r}: a partition cannot be driven", _NEVER_DRIVEN
    shape = _shape(path[:-1], around)
    if shape is None:
        return text, "leave it out"
    close = nearest(key, _keys(shape))
    return text, (f"did you mean {close!r}? " if close else "") + f"the keys here are {', '.join(_keys(shape))}"
