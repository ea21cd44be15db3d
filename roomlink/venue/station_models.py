"""The sections ``stations`` and ``locks`` as they are written. A part of ``models``."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from roomlink.limits import STATION_DEBOUNCE_S
from roomlink.venue.base import Strict
from roomlink.venue.equipment import Onto, PointKeys
from roomlink.venue.fields import Duration, Flag, Label, LastingDuration, Name, Number, Scalar


class Placed(Strict):
    """Something of a station at a point of a device."""

    device: Name | None = Field(None, description="the name of a device; the station's if not given")
    point: PointKeys = Field(description="which of the device's points, in its driver's words")


class Key(Placed):
    """A key: what a press of it does."""

    pressed: Scalar = Field(True, description="the reported value that means pressed; all others mean released")
    each: Flag = Field(
        False, description="each report of that value is one press, as of a pad that never tells the release"
    )
    control: Name | None = Field(None, description="a control of the controller's home")
    press: Scalar = Field(
        None, description="an option, a number of the unit, on, off, toggle, raise, lower, or hold for a momentary"
    )
    step: Number | None = Field(None, description="by how much a press changes a level, in its unit; may be negative")
    scene: Name | None = Field(None, description="the scene that a press recalls in the linked zones")


class Knob(Placed):
    """A knob for a level: it tells steps, or where it stands."""

    control: Name = Field(description="a level of the controller's home")
    step: Number | None = Field(None, description="what one reported step is, in the level's unit")
    onto: Onto | None = Field(
        None, description="what the device reports for the level's lowest and highest; its own unit if not given"
    )
    curve: Literal["linear", "square", "cie-lightness"] = Field("linear", description="linear, square or cie-lightness")


class Lamp(Placed):
    """A lamp, or a small display: what it shows of a control, as the controller's feedback has it."""

    control: Name = Field(description="a control of the controller's home")
    is_: Scalar = Field(None, alias="is", description="the option or the position that it stands for")
    at_least: Number | None = Field(None, description="the level from which on it is lit, in its unit")
    on: Scalar = Field(True, description="what the device takes for lit")
    off: Scalar = Field(False, description="what the device takes for dark")
    mixed: Scalar = Field(None, description="what the device takes where the linked zones disagree")


class Station(Strict):
    """Keys, knobs and lamps on a wall that work one controller, like a panel of it."""

    name: Label | None = Field(None, description="the words for people")
    controller: Name = Field(description="the controller that it works")
    device: Name = Field(description="the name of a device")
    debounce: Duration = Field(
        STATION_DEBOUNCE_S,
        description="for how long after a change of a key its contact may bounce",
        json_schema_extra={"default": "30ms"},
    )
    keys: dict[Name, Key] = Field(default_factory=dict)
    knobs: dict[Name, Knob] = Field(default_factory=dict)
    lamps: dict[Name, Lamp] = Field(default_factory=dict)


class ReadyLock(Strict):
    """A lock that a person sets by its name alone."""

    name: Label | None = Field(None, description="the words for people")
    zone: Name | None = Field(None, description="the zone that it locks")
    controller: Name | None = Field(None, description="the controller that it locks")
    controls: list[Name] = Field(default_factory=list, description="these controls alone; all if none is given")
    for_: LastingDuration | None = Field(
        None, alias="for", description="how long it lasts; until released if not given"
    )
