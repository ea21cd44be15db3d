"""The keys of an E1.31 device and of its points."""

from __future__ import annotations

from typing import Annotated, Literal
from uuid import UUID

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, IPvAnyAddress, model_validator

from roomlink.drivers.e131 import wire


def _fits(name: str) -> str:
    if not name.isprintable() or not 1 <= len(name.encode()) < wire.NAME_OCTETS:
        raise ValueError(f"must be 1 to {wire.NAME_OCTETS - 1} octets of printable UTF-8")
    return name


class E131Config(BaseModel):
    """One universe, sent by this service."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    universe: Annotated[int, Field(ge=1, le=wire.UNIVERSE_MAX, description="Universe that the receivers listen to.")]
    source: Annotated[str, AfterValidator(_fits), Field(description="Name of this source, shown by receivers.")] = (
        "roomlink"
    )
    priority: Annotated[
        int, Field(ge=0, le=wire.PRIORITY_MAX, description="Of several sources the highest wins; 100 is usual.")
    ] = wire.PRIORITY_DEFAULT
    destination: Annotated[
        str, Field(min_length=1, max_length=253, description="`multicast`, or the one receiver's host or address.")
    ] = "multicast"
    port: Annotated[int, Field(ge=1, le=65535, description="UDP port of the receivers.")] = wire.PORT
    interface: Annotated[
        IPvAnyAddress | None, Field(description="Local IPv4 address of the network to send multicast into.")
    ] = None
    rate: Annotated[
        float, Field(gt=0, le=wire.RATE_HZ_MAX, description="Frames a second at most, in Hz; fades move at this rate.")
    ] = 40.0
    preview: Annotated[bool, Field(description="Mark the data as not for live output.")] = False
    cid: Annotated[
        UUID | None, Field(description="Identifier of the component; made of source and universe where not given.")
    ] = None

    @model_validator(mode="after")
    def _version(self) -> E131Config:
        if self.interface is not None and self.interface.version != 4:
            raise ValueError("interface must be an IPv4 address: E1.31 is sent over IPv4 here")
        return self


class E131Point(BaseModel):
    """One channel, or two neighbours as one value of 16 bits."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    channel: Annotated[
        int,
        Field(ge=1, le=wire.SLOTS, description="Channel 1 to 512; of 16 bits the coarse one, the fine one follows."),
    ]
    bits: Annotated[Literal[8, 16], Field(description="Resolution: one channel, or this one and the next.")] = 8

    @model_validator(mode="after")
    def _fine_channel(self) -> E131Point:
        if self.channel + self.width - 1 > wire.SLOTS:
            raise ValueError("16 bits need the next channel too: channel must be 511 at most")
        return self

    @property
    def width(self) -> int:
        """How many channels it takes."""
        return self.bits // 8


def point_name(_config: E131Config, point: E131Point) -> str:
    """``12``, or ``12+13`` where both make one value."""
    return f"{point.channel}" if point.bits == 8 else f"{point.channel}+{point.channel + 1}"


def overlaps(a: E131Point, b: E131Point) -> bool:
    """Whether two points share a channel."""
    return a.channel < b.channel + b.width and b.channel < a.channel + a.width
