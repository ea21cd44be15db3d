"""Modbus TCP: relay boxes, contact inputs, and whatever else keeps coils and registers.

    devices:
      relays-1: {driver: modbus, host: relays-1.local, poll: 100ms, heartbeat: {register: 40, every: 500ms}}
    bindings:
      - {control: heron.work-light, device: relays-1, point: {coil: 3}, class: power}
    partitions:
      heron-plover: {contacts: {closed: {device: relays-1, point: {discrete_input: 0}}}}

Addresses are those on the wire, from 0: what a manual calls coil 20 is ``coil: 19``. Watch what the box does when it
loses its controller: set its own watchdog so that outputs drop, and give ``heartbeat`` the register that it watches.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import ConfigDict, Field, model_validator

from roomlink.drivers.durations import Duration, Strict, wrong
from roomlink.drivers.modbus.link import ModbusDevice, Settings
from roomlink.drivers.modbus.plan import KINDS, Place
from roomlink.drivers.port import Device, Driver

Address = Annotated[int, Field(strict=True, ge=0, le=65535)]


class Heartbeat(Strict):
    """A register that is counted up, so that the device's own watchdog sees that somebody is in charge."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    register_: Address = Field(alias="register")
    """Address of the register, as on the wire."""
    every: Duration = Field(default=0.5, ge=0.05, le=60.0)
    """Well below the time after which the device's watchdog acts."""


class Config(Strict):
    """One device, or one unit behind a gateway."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    host: str = Field(min_length=1, max_length=253)
    """Name or address of the device or its gateway."""
    port: int = Field(default=502, strict=True, ge=1, le=65535)
    """TCP port."""
    unit: int = Field(default=1, strict=True, ge=0, le=255)
    """Which device behind the gateway; a device of its own mostly ignores it."""
    timeout: Duration = Field(default=1.0, ge=0.05, le=4.0)
    """How long an answer may take; after that the connection counts as lost."""
    poll: Duration = Field(default=0.1, ge=0.02, le=3600.0)
    """How often everything is read."""
    heartbeat: Heartbeat | None = None
    """The register that the device's own watchdog watches."""


class Point(Strict):
    """Exactly one address. Coils and registers can be driven; all four kinds report."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    coil: Address | None = None
    """A relay or other output bit, from 0."""
    discrete_input: Address | None = None
    """A contact or other input bit, from 0."""
    register_: Address | None = Field(default=None, alias="register")
    """A holding register, from 0."""
    input_register: Address | None = None
    """A register that is only read, from 0."""
    signed: bool = Field(default=False, strict=True)
    """Whether a register counts from −32768 to 32767 instead of 0 to 65535."""
    step: float = Field(default=1.0, gt=0.0, allow_inf_nan=False)
    """What one count of a register is worth in the control's unit: 0.1 for tenths of a degree."""

    @model_validator(mode="after")
    def _one_address(self) -> Point:
        given = [kind for kind in KINDS if self.address(kind) is not None]
        if len(given) != 1:
            raise wrong("a point is one address", f"give exactly one of {', '.join(KINDS)}, such as coil: 3")
        if given[0] in ("coil", "discrete_input") and {"signed", "step"} & self.model_fields_set:
            raise wrong(f"a {given[0]} is on or off", "leave signed and step to registers")
        return self

    def address(self, kind: str) -> int | None:
        """The address, if the point is of this kind."""
        value = getattr(self, "register_" if kind == "register" else kind)
        return value if isinstance(value, int) else None

    def place(self) -> Place:
        """The one address, with how its counts are read."""
        for kind in KINDS:
            address = self.address(kind)
            if address is not None:
                return Place(kind, address, self.signed, self.step)
        raise ValueError("a point without an address")


def _make(config: Config, points: Mapping[str, Point]) -> Device:
    beat = config.heartbeat
    settings = Settings(
        host=config.host,
        port=config.port,
        unit=config.unit,
        timeout_s=config.timeout,
        poll_s=config.poll,
        heartbeat_register=beat.register_ if beat else None,
        heartbeat_s=beat.every if beat else 0.0,
    )
    places = {name: point.place() for name, point in points.items()}
    for name, place in places.items():
        if beat and place.kind == "register" and place.address == beat.register_:
            raise wrong(f"{name} is the register of the heartbeat", "choose another one")
    return ModbusDevice(settings, places)


def _point_name(_config: Config, point: Point) -> str:
    place = point.place()
    return f"{place.kind}-{place.address}"


DRIVER = Driver(
    name="modbus",
    config=Config,
    point=Point,
    make=_make,
    point_name=_point_name,
    conformity="A client of the Modbus Application Protocol V1.1b3 over TCP: functions 01 to 06, 0F and 10 (hex).",
)
