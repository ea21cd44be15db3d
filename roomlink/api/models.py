"""What callers may send. ``/openapi.json`` is generated from the same models that validate."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from roomlink import limits

Name = Annotated[str, StringConstraints(min_length=1, max_length=limits.NAME_CHARS_MAX * 4)]
Value = bool | float | str | None
Do = Literal["set", "step", "toggle", "press", "release", "raise", "lower", "open", "close", "stop", "align"]


class Body(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class Action(Body):
    """Do something with a control."""

    control: Name
    do: Do
    value: Value = Field(None, description="for set and align: an option, a number in the unit, true or false")
    over: float = Field(0.0, description="seconds that the change takes; 0: now")
    for_: float | None = Field(
        None, alias="for", description="seconds after which a held action is let go; needed over HTTP, 10 at most"
    )


class Contacts(Body):
    """The contacts of a wall: whether the one at its closed end and the one at its stacked end are made."""

    closed: bool | None = None
    stacked: bool | None = None


class Position(Body):
    """A wall's position, reported (counts after its settle time) or, with `pin`, stated against its sensor."""

    position: str | None = Field(None, description="closed, open, moving or unknown; with a pin closed or open")
    contacts: Contacts | None = None
    pin: float | None = Field(None, description="seconds to hold the position against the sensor; 0 takes a pin away")


class Combine(Body):
    """Whether the zones of an open wall are to be one, or to be kept apart though it is open."""

    combine: bool


class StatedArrangement(Body):
    """For how long the positions of an arrangement are stated."""

    pin: float | None = Field(None, description="seconds; as configured if not given; 0 takes the pins away")


class Zones(Body):
    """Zones to treat as one group though no open wall ties them."""

    zones: list[Name]


class Overflow(Body):
    """One way: what is in `from` goes to `to`, and nothing back. Or with `zones` a join, as one group.

    Without any of them the configured overflow of that name is started.
    """

    from_: Name | None = Field(None, alias="from", description="the zone where it happens")
    to: Name | None = Field(None, description="the zone that hears and sees it")
    carries: list[str] | None = Field(None, description="sound, picture or both, which is so if nothing is given")
    zones: list[Name] | None = Field(None, description="zones to join instead")


class Assignment(Body):
    """The zone in which a radio microphone is used from now on."""

    zone: Name


class Recall(Body):
    """Where to recall a scene; by default wherever it is for."""

    zones: list[Name] | None = None
    controller: Name | None = Field(None, description="in the zones linked to this controller")
    group: Name | None = Field(None, description="in the group of this zone")
    over: float = Field(0.0, description="seconds that the change takes")


class Scene(Body):
    """A scene: values for every zone of a `type`, for one `zone`, or for each of `zones`; or captured from now."""

    name: str | None = None
    type: Name | None = None
    zone: Name | None = None
    values: dict[str, Value] | None = None
    zones: dict[str, dict[str, Value]] | None = None
    capture: list[Name] | None = Field(None, description="take what these zones have now")


class Simulated(Body):
    """Where a simulated wall shall run to."""

    position: str


class Arming(Body):
    """Who has checked a binding of power or motion on site, and what there is to say about it."""

    who: str = Field(min_length=1, max_length=200)
    note: str = Field("", max_length=2000)


class Check(Body):
    """What somebody found at a commissioning item; it replaces what was put down there before."""

    result: str = Field(description="pass, fail, not-applicable, or open to take back what was put down")
    who: str = Field(min_length=1, max_length=200)
    measured: float | None = None
    unit: str = Field("", max_length=20, description="the unit of `measured`; the item's own if empty")
    note: str = Field("", max_length=2000, description="needed where it failed or does not apply")


class SimulatedDevice(Body):
    """What a person at a simulated device would do: pull its plug, or turn a point."""

    plugged: bool | None = None
    points: dict[str, Value] | None = None


class Problem(BaseModel):
    """RFC 9457. `type` is stable; members beyond these name the field and what would be right."""

    model_config = ConfigDict(extra="allow")
    type: str
    title: str
    status: int
    detail: str


class Done(BaseModel):
    """Carried out: durable at journal position `seq`, in `zones`."""

    model_config = ConfigDict(extra="allow")
    seq: int
    zones: list[str]


class View(BaseModel):
    """Data as described in the text of the operation."""

    model_config = ConfigDict(extra="allow")


# Messages of a panel's socket


class Message(Body):
    id: int | str | None = None


class ActMessage(Message):
    type: Literal["act"]
    control: Name
    do: Do
    value: Value = None
    over: float = 0.0
    for_: float | None = Field(None, alias="for")


class LinkMessage(Message):
    type: Literal["link", "unlink"]
    zone: Name


class UnlinkAllMessage(Message):
    type: Literal["unlink-all"]


class RecallMessage(Message):
    type: Literal["recall"]
    scene: Name
    over: float = 0.0


class CombineMessage(Message):
    """What people at a panel say about a wall that is open at their side."""

    type: Literal["combine"]
    partition: Name
    combine: bool


class LeadMessage(Message):
    """Take the lead of the panel's group."""

    type: Literal["lead"]


class ExtendMessage(Message):
    """The guests of a date that is on in the panel's zones stay longer."""

    type: Literal["extend"]
    booking: Name
    occurrence: Name
    minutes: float


class KeepOnMessage(Message):
    """A routine is to leave the panel's zones on for longer."""

    type: Literal["keep-on"]
    routine: Name


class HoldingMessage(Message):
    type: Literal["holding"]


class AliveMessage(Message):
    """Asks for an ``ok``, so that a panel can tell a silent service from one that cannot be reached."""

    type: Literal["alive"]


MESSAGES: dict[str, type[Any]] = {
    "act": ActMessage,
    "link": LinkMessage,
    "unlink": LinkMessage,
    "unlink-all": UnlinkAllMessage,
    "recall": RecallMessage,
    "combine": CombineMessage,
    "lead": LeadMessage,
    "extend": ExtendMessage,
    "keep-on": KeepOnMessage,
    "holding": HoldingMessage,
    "alive": AliveMessage,
}
"""What a panel may send, by ``type``."""

MESSAGE_ROLES: dict[str, str] = {
    "act": "operate",
    "link": "operate",
    "unlink": "operate",
    "unlink-all": "operate",
    "recall": "operate",
    "combine": "operate",
    "lead": "operate",
    "extend": "operate",
    "keep-on": "operate",
    "holding": "view",
    "alive": "view",
}
"""The least role that may send it; a paired panel may send each of them on its own socket."""
assert MESSAGE_ROLES.keys() == MESSAGES.keys(), "every message says who may send it"
