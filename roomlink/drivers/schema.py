"""The keys of drivers as JSON Schema: for an editor, beside the venue's own, and for the tables of ``README.md``. Pure.

Made from the models that validate, so neither can say anything else than ``roomlink check``.
"""

from __future__ import annotations

import copy
from typing import Any

from pydantic import BaseModel

from roomlink.core.durations import PATTERN, SECONDS_OF
from roomlink.drivers.port import Driver
from roomlink.drivers.registry import DriverConfigError, Registry

Schema = dict[str, Any]


def keys_of(model: type[BaseModel], prefix: str = "") -> Schema:
    """JSON Schema of a driver's device or point. Its own definitions are under ``$defs``, named from ``prefix`` on."""
    made = model.model_json_schema(by_alias=True, mode="validation", ref_template=f"#/$defs/{prefix}{{model}}")
    if parts := made.pop("$defs", None):
        made["$defs"] = {f"{prefix}{name}": part for name, part in parts.items()}
    for part in (made, *made.get("$defs", {}).values()):
        for key in part.get("properties", {}).values():
            _worded(key)
    return made


def with_drivers(schema: Schema, registry: Registry) -> Schema:
    """The venue's schema with what each driver of ``registry`` knows.

    A device's keys are held to those of its ``driver``. Those of a point are only there to be looked up, as
    ``driver-<name>-point`` under ``$defs``: which driver a point belongs to stands in another part of the venue.
    A driver whose library is not installed is named, and its devices may have any keys.
    """
    made = copy.deepcopy(schema)
    defs, device = made["$defs"], made["$defs"]["Device"]
    device["properties"]["driver"]["enum"] = registry.names()
    device["allOf"] = []
    for name in registry.names():
        try:
            driver = registry.find(name)
        except DriverConfigError:
            continue
        defs |= _definitions(driver)
        device["allOf"].append(
            {
                "if": {"properties": {"driver": {"const": name}}, "required": ["driver"]},
                "then": {"$ref": f"#/$defs/driver-{name}-device"},
            }
        )
    return made


def _definitions(driver: Driver) -> Schema:
    """A driver's device and point, with their parts."""
    found: Schema = {}
    for place, model in (("device", driver.config), ("point", driver.point)):
        keys = keys_of(model, f"driver-{driver.name}-")
        found |= keys.pop("$defs", {})
        keys["title"] = f"{driver.name} {place}"
        found[f"driver-{driver.name}-{place}"] = keys
    # No further keys are allowed, so the one that names the driver has to be among them.
    device = found[f"driver-{driver.name}-device"]
    device["properties"] = {"driver": {"const": driver.name, "description": driver.conformity}, **device["properties"]}
    return found


def _worded(key: Schema) -> None:
    """A duration's default as it is written: ``500ms``, not 0.5."""
    default = key.get("default")
    if key.get("pattern") == PATTERN and isinstance(default, int | float):
        key["default"] = duration(default)


def duration(seconds: float) -> str:
    """Seconds as people write them, in the largest unit that leaves a whole number, or in seconds."""
    for unit in ("h", "min", "s", "ms"):
        count = round(seconds / SECONDS_OF[unit], 6)
        if count >= 1 and count == int(count):
            return f"{int(count)}{unit}"
    return f"{seconds:.6g}s"
