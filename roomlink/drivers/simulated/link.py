"""A device that stands on the bench instead of in the rack: it takes and reports whatever it is told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Self

from pydantic import Field, ValidationInfo, model_validator

from roomlink.drivers.durations import Strict
from roomlink.drivers.port import DeviceFault, Hear, Value
from roomlink.drivers.simulated.bench import Bench, Stand


class SimulatedConfig(Strict):
    """A simulated device needs no keys."""

    stand: str = Field("", max_length=64, description="its name on the bench; the device's own if not given")
    rate: float = Field(20.0, gt=0, le=50, description="how often a second values are sent at most")

    @model_validator(mode="after")
    def _named(self, info: ValidationInfo) -> Self:
        device = (info.context or {}).get("device", "")
        return self if self.stand or not device else self.model_copy(update={"stand": device})


class SimulatedPoint(Strict):
    """Any point that you like."""

    name: str = Field(min_length=1, max_length=100, description="a name of your own, such as gain")
    start: Value = Field(None, description="what it is, and reports, when the device has just got power")


def point_name(_config: SimulatedConfig, point: SimulatedPoint) -> str:
    """Its name."""
    return point.name


class SimulatedDevice:
    """``Device`` on a bench; ``stand`` is its handle."""

    detects_loss = True

    def __init__(self, stand: Stand, config: SimulatedConfig, points: Mapping[str, SimulatedPoint]) -> None:
        self.rate_hz = config.rate
        self.stand = stand
        self._points = frozenset(points)
        for name, point in points.items():
            if "start" in point.model_fields_set:
                stand.starts[name] = point.start
                stand.values.setdefault(name, point.start)

    async def connect(self, hear: Hear) -> None:
        def heard(point: str, value: Value) -> None:
            if point in self._points:
                hear(point, value)

        self.stand.attach(heard)

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        for point, value in values.items():
            await self.stand.take(point, value)
        return set(values) if self.stand.confirms else set()

    async def serve(self) -> None:
        if self.stand.connected:
            await self.stand.gone()
        raise DeviceFault(f"the simulated device {self.stand.name} was unplugged")

    async def close(self) -> None:
        self.stand.detach()


def make(bench: Bench, config: SimulatedConfig, points: Mapping[str, SimulatedPoint]) -> SimulatedDevice:
    """The device of ``config`` on ``bench``."""
    return SimulatedDevice(bench.device(config.stand), config, points)
