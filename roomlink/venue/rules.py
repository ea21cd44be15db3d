"""What drivers know about devices and points, as far as a venue's configuration needs it. A port: no driver is here.

``load`` takes a ``DeviceRules``; ``runtime.device_rules`` makes one of the drivers that are installed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol


class Complaint(NamedTuple):
    """One thing that is wrong with a driver's keys: where below the device or point, what, and what would be right."""

    path: tuple[str | int, ...]
    text: str
    right: str
    on_key: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """One place of a device. Points of one device with equal names are the same place; ``parsed`` is the driver's."""

    name: str
    parsed: Any = None


class KnownDevice(Protocol):
    """A device whose keys its driver understands."""

    @property
    def native(self) -> tuple[float, float] | None:
        """The range that levels are mapped onto; None where they go in their own unit."""

    @property
    def address(self) -> str | None:
        """Words for where it is; two devices at one address are a mistake. None where many may be there."""

    @property
    def overlaps(self) -> Callable[[Any, Any], bool] | None:
        """Whether two different parsed points share a part of the device; None where none ever do."""

    def point(self, raw: Mapping[str, Any]) -> Point | list[Complaint]:
        """The point of what is written under ``point``, or what is wrong with it."""

    def together(self, points: Sequence[Any]) -> list[Complaint]:
        """What keeps the device from having all these parsed points at once."""


class DeviceRules(Protocol):
    """Reads what is written for devices."""

    def device(self, name: str, raw: Mapping[str, Any]) -> KnownDevice | list[Complaint]:
        """The device of what is written under ``devices.<name>``, ``driver`` included, or what is wrong with it."""
