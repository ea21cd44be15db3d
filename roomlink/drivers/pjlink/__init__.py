"""PJLink class 1: projectors and displays.

    devices:
      projector-1: {driver: pjlink, host: projector-1.local, password_file: secrets/projector-1}
    bindings:
      - {control: heron.projector, device: projector-1, point: {item: power}, class: power}
      - {control: heron.picture, device: projector-1, point: {item: input}, values: {laptop: digital-1, camera: rgb-1}}

A lamp takes its time: while it warms up or cools down, what is ordered waits in the driver and follows as soon as the
display takes it. Power counts as confirmed when the display says that it is there, not when it took the order.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import ConfigDict, Field, model_validator

from roomlink.drivers.durations import Duration, Strict, wrong
from roomlink.drivers.pjlink.link import Item, PjlinkDevice, Settings
from roomlink.drivers.port import Device, Driver

Part = Literal["picture", "sound", "both", "fan", "lamp", "temperature", "cover", "filter", "other"]
OF = {"mute": ("picture", "sound", "both"), "errors": ("fan", "lamp", "temperature", "cover", "filter", "other")}
"""What ``of`` may be, item by item."""


class Config(Strict):
    """One display."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    host: str = Field(min_length=1, max_length=253)
    """Name or address of the display."""
    port: int = Field(default=4352, strict=True, ge=1, le=65535)
    """TCP port."""
    password_file: str | None = Field(default=None, min_length=1)
    """The file whose first line is the password; the password itself never stands here."""
    poll: Duration = Field(default=5.0, ge=0.05, le=600.0)
    """How often the display is asked how it is."""
    timeout: Duration = Field(default=2.0, ge=0.1, le=4.0)
    """How long an answer may take; after that the connection counts as lost."""


class Point(Strict):
    """One thing that the display does or tells."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    item: Literal["power", "input", "mute", "phase", "errors", "lamp-hours"]
    """power (on, off), input (such as digital-1) and mute are driven; phase, errors and lamp-hours only report."""
    of: Part | None = None
    """With mute: picture, sound or both (the default). With errors: one part; without, the worst of all."""
    lamp: int = Field(default=1, strict=True, ge=1, le=8)
    """With lamp-hours: which lamp, from 1."""

    @model_validator(mode="after")
    def _makes_sense(self) -> Point:
        allowed = OF.get(self.item, ())
        if self.of is not None and self.of not in allowed:
            right = f"write one of {', '.join(allowed)}" if allowed else "leave it out"
            raise wrong(f"{self.item} of {self.of}: there is no such thing", right)
        if self.item != "lamp-hours" and "lamp" in self.model_fields_set:
            raise wrong(f"{self.item} has no lamp", "leave it out")
        return self

    def named(self) -> Item:
        """The item with its defaults filled in."""
        return Item(self.item, self.of or ("both" if self.item == "mute" else None), self.lamp)


def _make(config: Config, points: Mapping[str, Point]) -> Device:
    items = {name: point.named() for name, point in points.items()}
    mutes = sorted(str(item.of) for item in items.values() if item.item == "mute")
    if "both" in mutes and len(mutes) > 1:
        raise wrong("mute of both and of one part undo each other", "bind either both, or picture and sound")
    settings = Settings(config.host, config.port, config.password_file, config.poll, config.timeout)
    return PjlinkDevice(settings, items)


def _point_name(_config: Config, point: Point) -> str:
    item = point.named()
    more = str(item.lamp) if item.item == "lamp-hours" else item.of
    return item.item if more is None else f"{item.item}-{more}"


def _overlaps(one: Point, other: Point) -> bool:
    mutes = {point.named().of for point in (one, other) if point.item == "mute"}
    return len(mutes) == 2 and "both" in mutes


DRIVER = Driver(
    name="pjlink",
    config=Config,
    point=Point,
    make=_make,
    point_name=_point_name,
    overlaps=_overlaps,
    conformity="A controller for PJLink class 1 (JBMIA): POWR, INPT, AVMT, ERST and LAMP, with and without a password.",
)
