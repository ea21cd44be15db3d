"""What the installed drivers know, as a venue's configuration asks for it: ``load(folder, DriverRules(registry))``."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel
from pydantic_core import PydanticCustomError

from roomlink.drivers.port import Driver
from roomlink.drivers.registry import DriverConfigError, Registry
from roomlink.venue.rules import Complaint, Point

T = TypeVar("T")

PLACES = ("universe", "transport", "destination", "interface", "host", "url", "port", "path", "unit", "stand")
"""The keys of devices that say where one is."""
SHARED = ("mqtt",)
"""Drivers whose devices may meet at one address: a broker serves many."""


@dataclass(frozen=True, slots=True)
class DriverDevice:
    """A device whose keys its driver has taken; a ``venue.rules.KnownDevice``."""

    registry: Registry
    driver: Driver
    config: BaseModel

    @property
    def native(self) -> tuple[float, float] | None:
        return self.driver.native

    @property
    def overlaps(self) -> Callable[[Any, Any], bool] | None:
        return self.driver.overlaps

    @property
    def address(self) -> str | None:
        if self.driver.name in SHARED:
            return None
        values = {key: getattr(self.config, key, None) for key in PLACES}
        return ", ".join(f"{key} {value}" for key, value in values.items() if value is not None) or None

    def point(self, raw: Mapping[str, Any]) -> Point | list[Complaint]:
        def taken() -> Point:
            parsed = self.registry.parse_point(self.driver, raw)
            return Point(self.driver.point_name(self.config, parsed), parsed)

        return heeded(self.driver.name, taken)

    def together(self, points: Sequence[Any]) -> list[Complaint]:
        # Making a device touches no network; it is dropped at once.
        made = heeded(self.driver.name, lambda: self.registry.make_device(self.driver, self.config, points))
        return made if isinstance(made, list) else []


@dataclass(frozen=True, slots=True)
class DriverRules:
    """A ``venue.rules.DeviceRules`` of the drivers in a registry."""

    registry: Registry

    def device(self, name: str, raw: Mapping[str, Any]) -> DriverDevice | list[Complaint]:
        taken = heeded(str(raw.get("driver")), lambda: self.registry.parse_device(name, raw))
        return taken if isinstance(taken, list) else DriverDevice(self.registry, *taken)


def heeded(driver: str, ask: Callable[[], T]) -> T | list[Complaint]:
    """What a driver answers, or its complaints."""
    try:
        return ask()
    except DriverConfigError as error:
        return complaints(error)
    except ValueError as error:
        right = (error.context or {}).get("right", "") if isinstance(error, PydanticCustomError) else ""
        return [Complaint((), str(error), right)]
    except Exception as error:
        # A driver may be anybody's: one that stumbles must not hide what else is wrong.
        return [Complaint((), f"the driver {driver} cannot read this: {error!r}", "write what the driver asks for")]


def complaints(error: DriverConfigError) -> list[Complaint]:
    return [Complaint(fault.path, fault.text, fault.right, fault.on_key) for fault in error.faults]
