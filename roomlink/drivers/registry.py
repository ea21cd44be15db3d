"""Finds drivers by name, and reads what a venue writes for them.

Built-in drivers are imported when they are first asked for, so a library that is not installed only hurts the driver
that needs it. Others come through the entry-point group ``roomlink.drivers``, each naming a ``Driver``.
"""

from __future__ import annotations

import difflib
import importlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint, entry_points
from typing import Any, NamedTuple, cast, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from roomlink.drivers.durations import wrong
from roomlink.drivers.port import Device, Driver

GROUP = "roomlink.drivers"

BUILT_IN = {
    name: f"roomlink.drivers.{name}"
    for name in ("e131", "osc", "modbus", "mqtt", "pjlink", "http", "text", "simulated")
}
"""Driver to the package whose ``DRIVER`` it is."""

Path = tuple[str | int, ...]


class Fault(NamedTuple):
    """One thing that is wrong with a driver's keys: where below the device or point, what, and what would be right."""

    path: Path
    text: str
    right: str
    on_key: bool = False
    """Whether the key itself is wrong, not its value."""


class DriverConfigError(ValueError):
    """What is written for a driver cannot be used; ``faults`` holds all of it."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(fault.text for fault in faults))
        self.faults = faults


def _installed() -> Iterable[EntryPoint]:
    return entry_points(group=GROUP)


@dataclass(slots=True)
class Registry:
    """All drivers of one service. ``given`` drivers come before the built-in ones of the same name.

    A rehearsal gives its own ``simulated`` driver (``simulated.driver(bench)``), and so
    holds the handles of its devices.
    """

    given: dict[str, Driver] = field(default_factory=dict)
    plugins: dict[str, Driver] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    """One sentence for every entry point that could not be used."""

    @classmethod
    def of(cls, *given: Driver, plugins: Iterable[EntryPoint] | None = None) -> Registry:
        """The built-in drivers, those installed (or ``plugins``), and ``given``."""
        self = cls({driver.name: driver for driver in given})
        for entry in sorted(_installed() if plugins is None else plugins, key=lambda entry: (entry.name, entry.value)):
            self._plug_in(entry)
        return self

    def _plug_in(self, entry: EntryPoint) -> None:
        origin = f"the installed driver {entry.name!r} ({entry.value})"
        if entry.name in BUILT_IN or entry.name in self.plugins:
            self.problems.append(f"{origin} is left out: another driver has that name")
            return
        try:
            driver = entry.load()
        except Exception as error:  # Somebody else's code may raise anything, and must not stop the venue.
            self.problems.append(f"{origin} cannot be loaded: {type(error).__name__}: {error}")
            return
        if not isinstance(driver, Driver) or driver.name != entry.name:
            self.problems.append(f"{origin} is left out: its entry point does not name a Driver of that name")
            return
        self.plugins[entry.name] = driver

    def names(self) -> list[str]:
        """Every driver that can be asked for."""
        return sorted({*BUILT_IN, *self.plugins, *self.given})

    def find(self, name: str) -> Driver:
        """The driver of that name; raises ``DriverConfigError`` with one fault at ``driver``."""
        if driver := self.given.get(name) or self.plugins.get(name):
            return driver
        if name not in BUILT_IN:
            right = _one_of(name, self.names())
            raise DriverConfigError([Fault(("driver",), f"there is no driver named {name!r}", right)])
        try:
            return cast(Driver, importlib.import_module(BUILT_IN[name]).DRIVER)
        except ModuleNotFoundError as error:
            text = f"the driver {name} needs {error.name}, which is not installed"
            raise DriverConfigError([Fault(("driver",), text, f'install "roomlink[{name}]"')]) from error

    def parse_device(self, device: str, raw: Mapping[str, Any]) -> tuple[Driver, BaseModel]:
        """The driver and its config of what is written under ``devices.<device>``; raises ``DriverConfigError``."""
        rest = dict(raw)
        driver = self.find(str(rest.pop("driver", "")))
        return driver, _read(driver.config, rest, device)

    def parse_point(self, driver: Driver, raw: Mapping[str, Any]) -> BaseModel:
        """The point of what is written under ``point``; raises ``DriverConfigError``."""
        return _read(driver.point, raw, "")

    def make_device(self, driver: Driver, config: BaseModel, points: Iterable[BaseModel]) -> Device:
        """A device with these points; raises ``DriverConfigError`` for what does not go together."""
        named: dict[str, BaseModel] = {}
        try:
            for point in points:
                name = driver.point_name(config, point)
                if named.setdefault(name, point) != point:
                    raise wrong(f"the point {name!r} is written in two ways", "write the same keys wherever it is used")
            return driver.make(config, named)
        except ValueError as error:
            right = (error.context or {}).get("right", "") if isinstance(error, PydanticCustomError) else ""
            raise DriverConfigError([Fault((), str(error), right)]) from error


def _read(model: type[BaseModel], raw: Mapping[str, Any], device: str) -> BaseModel:
    try:
        # The device's name is there for drivers that introduce themselves to others with it.
        return model.model_validate(dict(raw), context={"device": device})
    except ValidationError as error:
        details = error.errors(include_url=False)
    raise DriverConfigError([_fault(model, detail) for detail in details])


_WANTED = {
    "string_type": ("a text", "write a word, or text in quotes"),
    "int_type": ("a whole number", "write a whole number, such as 1"),
    "int_parsing": ("a whole number", "write a whole number, such as 1"),
    "int_from_float": ("a whole number", "write a whole number, such as 1"),
    "float_type": ("a number", "write a plain number, such as 0.5"),
    "float_parsing": ("a number", "write a plain number, such as 0.5"),
    "finite_number": ("a finite number", "write a plain number, such as 0.5"),
    "bool_type": ("true or false", "write true or false"),
    "bool_parsing": ("true or false", "write true or false"),
    "list_type": ("a list", "write it as [one, two]"),
    "tuple_type": ("a list", "write it as [one, two]"),
    "dict_type": ("a mapping", "write it as {key: value}"),
    "model_type": ("a mapping", "write it as {key: value}"),
}
_BOUNDS = {
    "greater_than_equal": ("is too low", "write {ge} or more"),
    "greater_than": ("is too low", "write more than {gt}"),
    "less_than_equal": ("is too high", "write {le} or less"),
    "less_than": ("is too high", "write less than {lt}"),
    "string_too_short": ("is too short", "write at least {min_length} characters"),
    "string_too_long": ("is too long", "write at most {max_length} characters"),
    "too_short": ("has too few entries", "write at least {min_length}"),
    "too_long": ("has too many entries", "write at most {max_length}"),
}


def _fault(model: type[BaseModel], detail: ErrorDetails) -> Fault:
    """One of pydantic's errors in plain words."""
    path, kind, ctx, value = detail["loc"], detail["type"], detail.get("ctx", {}), detail["input"]
    if kind == "venue":
        return Fault(path, str(ctx["text"]), str(ctx["right"]))
    if kind == "extra_forbidden":
        keys = list(_shape(model, path[:-1]))
        return Fault(path, f"unknown key {path[-1]!r}", _one_of(str(path[-1]), keys) if keys else "leave it out", True)
    if kind == "missing":
        meaning = _shape(model, path[:-1]).get(str(path[-1]), "")
        return Fault(path[:-1], f"{path[-1]!r} is missing", f"write {path[-1]}: {meaning}".rstrip())
    if kind in ("literal_error", "enum"):
        allowed = str(ctx["expected"]).replace(" or ", ", ").replace("'", "").split(", ")
        return Fault(path, f"{_shown(value)} is not known here", _one_of(str(value), allowed))
    if kind in _WANTED:
        wanted, right = _WANTED[kind]
        return Fault(path, f"{_shown(value)} is not {wanted}", right)
    if kind in _BOUNDS:
        text, right = _BOUNDS[kind]
        return Fault(path, f"{_shown(value)} {text}", right.format(**ctx))
    # A validator's ValueError comes with a prefix that means nothing to the reader.
    text = str(ctx["error"]) if kind == "value_error" else detail["msg"]
    return Fault(path, text[:1].lower() + text[1:], "")


def _shape(model: type[BaseModel], path: Path) -> dict[str, str]:
    """The keys that may be written at ``path``, with what each means; none where that is not known."""
    at: type[BaseModel] | None = model
    for part in path:
        fields = at.model_fields if at else {}
        # Indices and the keys of a table stay at the model that the list or table holds.
        if isinstance(part, str) and (item := fields.get(part)):
            at = _model_in(item.annotation)
    return {item.alias or key: item.description or "" for key, item in at.model_fields.items()} if at else {}


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_model_in, get_args(annotation))), None)


def _one_of(value: str, allowed: list[str]) -> str:
    close = difflib.get_close_matches(value, allowed, n=1)
    return (f"did you mean {close[0]!r}? " if close else "") + f"write one of {', '.join(allowed)}"


def _shown(value: object) -> str:
    if isinstance(value, dict | list):
        return "a mapping" if isinstance(value, dict) else "a list"
    text = "nothing" if value is None else str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
