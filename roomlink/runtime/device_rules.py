"""What the installed drivers know, as a venue's configuration asks for it: ``load(folder, DriverRules(registry))``."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from roomlink.drivers.port import Driver
from roomlink.drivers.registry import DriverConfigError, Registry
from roomlink.venue.rules import Complaint, Point

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
        try:
            parsed = self.registry.parse_point(self.driver, raw)
        except DriverConfigError as error:
            return complaints(error)
        return Point(self.driver.point_name(self.config, parsed), parsed)

    def together(self, points: Sequence[Any]) -> list[Complaint]:
        try:
            # Making a device touches no network; it is dropped at once.
            self.registry.make_device(self.driver, self.config, points)
        except DriverConfigError as error:
            return complaints(error)
        return []


@dataclass(frozen=True, slots=True)
class DriverRules:
    """A ``venue.rules.DeviceRules`` of the drivers in a registry."""

    registry: Registry

    def device(self, name: str, raw: Mapping[str, Any]) -> DriverDevice | list[Complaint]:
        try:
            driver, config = self.registry.parse_device(name, raw)
        except DriverConfigError as error:
            return complaints(error)
        return DriverDevice(self.registry, driver, config)


def complaints(error: DriverConfigError) -> list[Complaint]:
    return [Complaint(fault.path, fault.text, fault.right, fault.on_key) for fault in error.faults]
