"""Reads a scenario's file, every finding with its place: what each key takes, and which names there are."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from pydantic_core import PydanticCustomError

from roomlink.core.spec import Spec
from roomlink.core.walls import POSITIONS
from roomlink.venue import fields
from roomlink.venue.fields import SECONDS_OF, shown, wrong
from roomlink.venue.findings import Path, Place, Places, Report, instead, listing, nearest
from roomlink.venue.read import Reading, _read_file, _text_of

DURATION = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,12})?)(ms|s|min|h)")
"""As in a venue, but finer: a cut from the journal keeps its stamps to the last digit."""
CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
"""A time of day by the venue's clock."""


def read_file(path: FilePath) -> Reading:
    """One YAML file as a tree; ``report`` holds what could not be read."""
    reading = Reading(Report(Places(Place(str(path), 1, 1))))
    if not path.is_file():
        reading.report.places.top = Place(str(path))
        reading.report.add((), "there is no such file", "give a scenario of the venue's rehearsals folder")
        reading.unread = True
        return reading
    text = _text_of(path, reading.report)
    reading.unread = text is None or not _read_file(str(path), text, reading)
    return reading


def duration(value: object) -> float:
    """Seconds of ``300ms``, ``3s``, ``2min`` or ``1h``."""
    found = DURATION.fullmatch(value) if isinstance(value, str) else None
    return float(found[1]) * SECONDS_OF[found[2]] if found else fields.duration(value)


def _text(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise wrong(f"{shown(value)} is not a text", "write a word, or text in quotes")
    return str(value)


def _value(value: object) -> Any:
    if value is not None and not isinstance(value, str | bool | int | float):
        raise wrong(f"{shown(value)} is not a value", "write a number, an option, on, off or none")
    return value


def _reading(value: object) -> Any:
    """What a device reports: on and off are a contact's, everything else is as written."""
    return {"on": True, "off": False}.get(str(value), _value(value)) if isinstance(value, str) else _value(value)


def _position(value: object) -> str:
    if value not in POSITIONS:
        raise wrong(f"{shown(value)} is not a position", f"write one of {', '.join(POSITIONS)}")
    return str(value)


def _when(value: object) -> str | float:
    """A clock time as it is written, or seconds from now."""
    if isinstance(value, str) and CLOCK.fullmatch(value):
        return value
    try:
        return duration(value)
    except PydanticCustomError:
        raise wrong(f"{shown(value)} is no time", "write a clock time such as 18:05, or a duration from now") from None


def _count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise wrong(f"{shown(value)} is not a number of people", "write a whole number from 1 on")
    return value


def _events(value: object) -> list[Any]:
    if not isinstance(value, list) or not all(isinstance(one, dict) and "type" in one for one in value):
        raise wrong("these are not events", "keep what a cut from the journal wrote")
    return value


PLAIN: dict[str, Callable[[object], Any]] = {
    "duration": duration,
    "flag": fields.switched,
    "carries": fields.carries,
    "text": _text,
    "word": lambda value: None if value is None else _text(value),
    "value": _value,
    "reading": _reading,
    "position": _position,
    "when": _when,
    "count": _count,
    "events": _events,
}
"""Kind of value to what reads it; names of the venue's are looked up in ``Names``."""


@dataclass(frozen=True, slots=True)
class Names:
    """What a scenario may name."""

    spec: Spec

    def known(self, kind: str) -> Collection[str]:
        spec = self.spec
        tables: dict[str, Collection[str]] = {
            "zone": spec.zones,
            "controller": spec.controllers,
            "wall": spec.partitions,
            "arrangement": spec.arrangements,
            "override": spec.overrides,
            "device": spec.data.get("devices", {}),
            "microphone": spec.travel.microphones,
        }
        return tables[kind]

    def controls(self, surface: str) -> Collection[str]:
        """The controls of a zone, or all that a controller may come to show."""
        spec = self.spec
        if surface in spec.zones:
            return spec.zones[surface].controls
        return {control for zone in spec.zones.values() for control in zone.controls}


class Reader:
    """Reads parts of one file's tree; what is wrong is noted in ``report`` and read as None."""

    def __init__(self, names: Names, report: Report) -> None:
        self.names = names
        self.report = report

    def take(self, kind: str, value: object, path: Path) -> Any:
        """The value of a kind: plain, a name of the venue's, a control, or zones."""
        if kind == "control":
            return self.control(value, path)
        if kind == "zones":
            return self.each("zone", value, path)
        if kind in ("controllers", "words"):
            return self.each(kind.removesuffix("s"), value, path)
        if kind not in PLAIN:
            return self.name(kind, value, path)
        try:
            read = PLAIN[kind](value)
        except PydanticCustomError as error:
            context = error.context or {}
            self.report.add(path, str(context.get("text", error)), str(context.get("right", "")))
            return None
        if isinstance(read, float) and not math.isfinite(read):
            self.report.add(path, f"{shown(value)} is too large", "write a smaller number")
            return None
        return read

    def name(self, kind: str, value: object, path: Path) -> str | None:
        known = self.names.known(kind)
        if not isinstance(value, str):
            self.report.add(path, f"{shown(value)} is not a name", instead("", known, f"{kind}s"))
            return None
        if value not in known:
            self.report.dangling(path, kind, value, known)
            return None
        return value

    def control(self, value: object, path: Path, *, key: bool = False) -> str | None:
        """``zone.control`` or ``controller.control``."""
        surface, dot, control = value.rpartition(".") if isinstance(value, str) else ("", "", "")
        spec = self.names.spec
        if not dot:
            self.report.add(
                path, f"{shown(value)} is not a control", "write zone.control or controller.control", key=key
            )
        elif surface not in spec.zones and surface not in spec.controllers:
            surfaces = [*spec.zones, *spec.controllers]
            text = f"there is no zone or controller named {surface!r}"
            self.report.add(path, text, instead(surface, surfaces, "zones or controllers"), key=key)
        elif control not in (known := self.names.controls(surface)):
            text = f"{surface} has no control named {control!r}"
            self.report.add(path, text, instead(control, sorted(known), "controls"), key=key)
        else:
            return str(value)
        return None

    def each(self, kind: str, value: object, path: Path) -> list[Any]:
        if not isinstance(value, list):
            self.report.add(path, f"{shown(value)} is not a list", "write it as [one, two]")
            return []
        read = [self.take(kind, one, (*path, place)) for place, one in enumerate(value)]
        return [one for one in read if one is not None]

    def mapping(self, value: object, path: Path) -> dict[str, Any]:
        if not isinstance(value, dict):
            self.report.add(path, f"{shown(value)} is not a mapping", "write it as {key: value}")
            return {}
        return value

    def keys(self, given: Mapping[str, Any], allowed: Collection[str], path: Path) -> list[str]:
        """The keys of ``given`` that are allowed; the others are noted."""
        for key in given:
            if key not in allowed:
                close = nearest(key, allowed)
                right = (f"did you mean {close!r}? " if close else "") + f"the keys here are {listing(sorted(allowed))}"
                self.report.add((*path, key), f"unknown key {key!r}", right, key=True)
        return [key for key in given if key in allowed]
