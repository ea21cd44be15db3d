"""The sections about equipment as they are written: devices, bindings, inputs, sound. A part of ``models``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Discriminator, Field, Tag, WithJsonSchema

from roomlink.venue.base import Strict
from roomlink.venue.fields import (
    Amount,
    Duration,
    Flag,
    Label,
    LastingDuration,
    Name,
    Number,
    Part,
    Point,
    Scalar,
    Template,
    number,
    plain,
    shown,
    wrong,
)

PointKeys = dict[str, Any]
"""Which of a device's points, in its driver's words."""


STEP_MAX = 1e6
"""The most that a repetition adds to a number of a point."""


def onto(value: object) -> list[float]:
    """[a, b] of a device; b may be the lower one, for a device that works the other way round."""
    if not isinstance(value, list) or len(value) != 2:
        raise wrong(f"{shown(value)} is not a range", "write what the lowest and the highest become, such as [0, 1]")
    a, b = number(value[0]), number(value[1])
    if a == b:
        raise wrong(f"the lowest and the highest both become {plain(a)}", "write two different numbers")
    return [a, b]


def step(value: float) -> float:
    if abs(value) > STEP_MAX:
        raise wrong(f"{plain(value)} leads beyond any device", f"write -{plain(STEP_MAX)} to {plain(STEP_MAX)}")
    return value


def zones(value: object) -> object:
    return None if value == "all" else value


Onto = Annotated[
    list[float],
    BeforeValidator(onto),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]
Step = Annotated[Number, AfterValidator(step)]
AllOrZones = Annotated[
    list[Name] | None,
    BeforeValidator(zones),
    WithJsonSchema({"anyOf": [{"const": "all"}, {"type": "array", "items": {"type": "string"}}, {"type": "null"}]}),
]


class Device(Strict):
    """Real equipment. Further keys belong to its driver."""

    model_config = ConfigDict(extra="allow", frozen=True)

    driver: Name = Field(description="the name of the protocol code, such as e131")


class Supply(Strict):
    """What feeds several power outputs."""

    name: Label | None = Field(None, description="the words for people")
    stagger: LastingDuration = Field(description="the time between two switch-ons, such as 500ms")


class Binding(Strict):
    """Which control drives which point of a device."""

    name: Template | None = Field(None, description="its own name; the control's if not given")
    control: Annotated[str, Field(pattern=r"^[^.]+\.[^.]+$")] = Field(description="zone.control, such as heron.house")
    device: Template = Field(description="the name of a device")
    point: PointKeys | None = Field(None, description="which of the device's points, in its driver's words")
    open: PointKeys | None = Field(None, description="the point that opens a motion")
    close: PointKeys | None = Field(None, description="the point that closes a motion")
    duty: Literal["signal", "power", "motion"] = Field("signal", alias="class", description="signal, power or motion")
    curve: Literal["linear", "square", "cie-lightness"] | None = Field(
        None, description="how a level becomes an output: linear, square or cie-lightness"
    )
    onto: Onto | None = Field(None, description="what a level's lowest and highest become at the device")
    values: dict[str, Scalar] | None = Field(
        None, description="what the device takes for each option, for on, off and none"
    )
    follow: Flag | None = Field(None, description="whether what the device reports sets the control")
    min_on: Duration | None = Field(None, description="the shortest time on of a power output")
    min_off: Duration | None = Field(None, description="the shortest time off of a power output")
    supply: Name | None = Field(None, description="the supply that a power output shares with others")
    order: Literal["last-on"] | None = Field(
        None, description="last-on: of its supply's loads it is switched on last and off first, as befits amplifiers"
    )
    cool: Duration | None = Field(
        None, description="how long it stays on after it is ordered off, so that a lamp cools"
    )
    restore: Flag | None = Field(None, description="whether a power output comes back on after a restart")
    on_loss: Literal["off", "holds", "unknown"] | None = Field(
        None, description="what the device does by itself when it loses this service: off, holds or unknown"
    )
    on_return: Literal["at-once", "from-low"] | None = Field(
        None, description="how a device that comes back gets its value: at-once, or from-low over the blend time"
    )
    repeat: list[Part] | None = Field(None, description="stamp the binding out once for each of these")
    step: dict[str, Step] | None = Field(None, description="what each repetition adds to numbers of its point")


class Input(Strict):
    """Where an override's contact is read."""

    device: Name = Field(description="the name of a device")
    point: PointKeys = Field(description="which of the device's points, in its driver's words")
    active: Literal["open", "closed"] = Field("open", description="the state of the circuit that means active")


class Override(Strict):
    """A life-safety or lockout input that masks outputs until it clears."""

    name: Label | None = Field(None, description="the words for people")
    kind: Literal["life-safety", "lockout"] = Field(description="life-safety or lockout")
    input: Input = Field(description="the device and point of its contact; an open circuit means active")
    zones: AllOrZones = Field(None, description="the zones that it masks, or all")
    values: dict[Name, Scalar] = Field(default_factory=dict, description="the value of each control while it stands")
    blend: Duration = Field(
        3.0, description="how long light takes to return when it clears", json_schema_extra={"default": "3s"}
    )


class Contact(Strict):
    """A contact at one end of a wall's travel."""

    device: Name = Field(description="the name of a device")
    point: PointKeys = Field(description="which of the device's points, in its driver's words")
    made: Flag = Field(True, description="the reported value that means made")


class Contacts(Strict):
    """One contact or two."""

    closed: Contact | None = Field(None, description="the contact that is made when the wall is closed")
    stacked: Contact | None = Field(None, description="the contact that is made when the wall is stacked away")


class Positions(Strict):
    """What a device reports for each position."""

    open: Scalar = Field(description="the reported value that means open")
    closed: Scalar = Field(description="the reported value that means closed")
    moving: Scalar = Field(None, description="the reported value that means moving")
    unknown: Scalar = Field(None, description="the reported value that means unknown")


class WallReport(Strict):
    """A device that reports a wall's position as a value."""

    device: Name = Field(description="the name of a device")
    point: PointKeys = Field(description="which of the device's points, in its driver's words")
    values: Positions = Field(description="the reported value of each position")


TAG = "#"
"""How the tags of unions begin: they are no keys, and are left out of a finding's path."""


def _tag(value: object) -> str:
    return TAG + ("contacts" if isinstance(value, dict | Contacts) else "word")


WallContacts = Annotated[
    Annotated[Literal["simulated"], Tag(TAG + "word")] | Annotated[Contacts, Tag(TAG + "contacts")],
    Discriminator(_tag),
]


class Sound(Strict):
    """What a plan of microphones and loudspeakers is calculated with."""

    temperature: Number = Field(20.0, description="of the air, in °C, -20 to 50")
    own_zone_reduction: Amount = Field(
        6.0, description="dB by which a microphone is lower in the loudspeakers of its own zone"
    )
    reference: Name | None = Field(
        None, description="the microphone that stands for the talker; the first open one of a group if not given"
    )


class Placed(Strict):
    """What is in a zone."""

    name: Label | None = Field(None, description="the words for people")
    zone: Name = Field(description="the zone that it is in")


class Microphone(Placed):
    """A microphone, where its talker stands; with ``level`` and ``mute`` its zone has controls of that name for it."""

    at: Point | None = Field(None, description="[x, y] in metres, as in outlines; radio microphones need none")
    level: dict[str, Any] | None = Field(None, description="members of a level in dB: range, travel, start, ceiling")
    mute: dict[str, Any] | None = Field(None, description="members of a switch: start, which is on if not given")
    radio: Flag = Field(False, description="whether it has no cable, and so may be used in another zone")
    zones: AllOrZones = Field(None, description="the zones in which a radio microphone may be used, or all")


class Loudspeaker(Placed):
    """Loudspeakers that are fed and delayed together."""

    at: Point = Field(description="[x, y] in metres, as in outlines")


class SoundOutput(Strict):
    """A device's point that takes a gain (dB) of the sound plan, or without ``microphone`` a delay (ms)."""

    microphone: Name | None = Field(None, description="the microphone whose gain into the loudspeakers goes there")
    loudspeakers: Name = Field(description="the loudspeakers")
    device: Name = Field(description="the device that takes it")
    point: dict[str, Any] = Field(description="where in the device, as its driver names it")
    off: Number = Field(-100.0, description="dB that the device takes for off")
