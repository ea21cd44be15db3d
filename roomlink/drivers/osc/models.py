"""The keys of an OSC device and of its points, and what a value is as an argument."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from roomlink.drivers.osc.wire import Argument
from roomlink.drivers.port import Value

# Printable ASCII without the characters that the standard keeps for patterns.
_ADDRESS = r'^(/[!"$-)+.0-9:;<=>@A-Z\\^_`a-z|~-]+)+$'
_Address = Annotated[str, Field(pattern=_ADDRESS, max_length=255)]

INT_MIN, INT_MAX = -(2**31), 2**31 - 1
FLOAT_MAX = (2 - 2**-23) * 2.0**127


class OscConfig(BaseModel):
    """A device that takes OSC messages."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    host: Annotated[str, Field(min_length=1, max_length=253, description="The device's host name or address.")]
    port: Annotated[int, Field(ge=1, le=65535, description="The port on which the device listens.")]
    transport: Annotated[
        Literal["udp", "tcp"], Field(description="`udp`, or `tcp` with SLIP frames as in OSC 1.1.")
    ] = "udp"
    listen: Annotated[
        int | None, Field(ge=1, le=65535, description="Local UDP port for reports; without it, answers only are heard.")
    ] = None
    rate: Annotated[
        float, Field(gt=0, le=100, description="Sends a second at most, in Hz; levels move at this rate.")
    ] = 25.0
    refresh: Annotated[
        float,
        Field(ge=0, le=3600, description="UDP only: seconds after which everything is sent again; 0 for never."),
    ] = 1.0

    @model_validator(mode="after")
    def _transport(self) -> OscConfig:
        if self.transport == "tcp" and self.listen is not None:
            raise ValueError("listen is for udp only: over tcp reports come over the connection")
        return self


class OscPoint(BaseModel):
    """One address, with one argument of one type."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    address: Annotated[_Address, Field(description="Where values are sent, such as /zone/heron/gain.")]
    type: Annotated[
        Literal["f", "i", "bool", "s"],
        Field(description="Argument: `f` 32-bit float, `i` 32-bit integer, `bool` (tags T and F), `s` string."),
    ] = "f"
    report: Annotated[
        _Address | None, Field(description="Where the device reports this point; its address if not given.")
    ] = None

    @property
    def hears(self) -> str:
        """The address whose incoming messages are reports of this point."""
        return self.report or self.address


def point_name(_config: OscConfig, point: OscPoint) -> str:
    """The address: one place, whatever is sent there."""
    return point.address


def to_argument(value: Value, kind: str) -> Argument:
    """A wanted value as an argument of a point's type; raises ValueError where it has none."""
    if kind == "s":
        if isinstance(value, str) and "\0" not in value:
            return value
    elif kind == "bool":
        if isinstance(value, bool):
            return value
    elif isinstance(value, int | float):
        if kind == "f" and abs(value) <= FLOAT_MAX:
            return float(value)
        if kind == "i" and INT_MIN <= value <= INT_MAX:
            return math.floor(value + 0.5)
    raise ValueError(f"{value!r} cannot be sent as type {kind}")


def from_argument(argument: Argument, kind: str) -> Value:
    """What a reported argument says of a point of this type; raises ValueError where it says nothing.

    Devices answer a switch with a number as often as with a truth value.
    """
    if kind == "s" and isinstance(argument, str):
        return argument
    if kind != "s" and isinstance(argument, int | float) and math.isfinite(argument):
        if kind == "bool":
            return bool(argument)
        if not isinstance(argument, bool) and (kind == "f" or argument == int(argument)):
            return float(argument) if kind == "f" else int(argument)
    raise ValueError(f"{argument!r} means nothing for type {kind}")
