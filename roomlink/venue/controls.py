"""The controls of a zone type as they are written, what is sound about them, and the values that they take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, WithJsonSchema
from pydantic_core import PydanticCustomError

from roomlink.core.spec import Value
from roomlink.core.travel_spec import CARRIES, VENUE, meet
from roomlink.venue.base import NONE, ControlBase, Fault, Option
from roomlink.venue.fields import (
    Amount,
    Carries,
    Duration,
    Flag,
    LastingDuration,
    Name,
    Number,
    OnOff,
    Source,
    Unit,
    number,
    plain,
    shown,
    switched,
    wrong,
)
from roomlink.venue.findings import listing, nearest
from roomlink.venue.motion import Motion


class Choice(ControlBase):
    """An interlock: at most one option is on."""

    kind: Literal["choice"] = Field(description="choice")
    options: list[Option] = Field(description="a list of names")
    allow_none: Flag = Field(True, description="whether nothing may be on")
    gap: Duration = Field(
        0.0, description="the pause between the old and the new option", json_schema_extra={"default": "0s"}
    )
    sources: Flag = Field(False, description="whether a group shares its options")
    carries: Carries = Field(
        list(CARRIES), description="what it takes from other zones and of the venue: sound, picture or both"
    )
    start: Name | None = Field(None, description="the option that is on at first")
    fallback: Source | None = Field(None, description="the option when a shared one is lost")
    _of_venue: tuple[str, ...] = PrivateAttr(())

    @property
    def known(self) -> list[str]:
        """The options that are there whatever the walls: its own and, where sources travel, the venue's."""
        return [*self.options, *self._of_venue]

    def among(self, venue: Mapping[str, Sequence[str]]) -> None:
        """Know the sources of the venue, given with what each carries."""
        if self.sources:
            self._of_venue = tuple(f"{VENUE}/{name}" for name, carries in venue.items() if meet(carries, self.carries))

    def faults(self) -> Iterator[Fault]:
        if not self.options:
            yield Fault("there is nothing to choose from", "list at least one option", "options")
        if twice := repeated(self.options):
            yield Fault(f"{listing(twice)} is listed twice", "list each option once", "options")
        for member, value in (("start", self.start), ("fallback", self.fallback)):
            if value not in (None, NONE) and value not in self.known:
                yield Fault(f"{value!r} is not an option", self._offer(value), member)
            elif not self.allow_none and value in (None, NONE):
                yield Fault(
                    f"with allow_none: false, {member} has to be an option",
                    f"write {member}: and one of {listing(self.options)}",
                    member,
                )
        if "carries" in self.model_fields_set and not self.sources:
            text = "carries stands for nothing where sources do not travel"
            yield Fault(text, "write sources: true, or leave it out", "carries", severity="warning")

    def _offer(self, value: object) -> str:
        names = [*self.known, NONE] if self.allow_none else self.known
        close = nearest(value, self.known) if isinstance(value, str) else None
        return (f"did you mean {close!r}? " if close else "") + f"write one of {listing(names)}"

    def take(self, raw: object) -> Value | Fault:
        if raw in (None, NONE):
            return None if self.allow_none else Fault("one option is always on (allow_none: false)", self._offer(raw))
        if isinstance(raw, str) and raw in self.known:
            return raw
        return Fault(f"{shown(raw)} is not an option", self._offer(raw))

    def members(self) -> dict[str, Any]:
        return {
            "options": list(self.options),
            "allow_none": self.allow_none,
            "gap": self.gap,
            "sources": self.sources,
            "carries": list(self.carries),
            "start": None if self.start == NONE else self.start,
            "fallback": None if self.fallback == NONE else self.fallback,
        }


def value_range(raw: object) -> list[float]:
    """[lowest, highest] of a level."""
    if not isinstance(raw, list) or len(raw) != 2:
        raise wrong(f"{shown(raw)} is not a range", "write [lowest, highest], such as [-60, 0]")
    lo, hi = number(raw[0]), number(raw[1])
    if lo >= hi:
        raise wrong(f"the range runs from {plain(lo)} to {plain(hi)}", "write the lower end first")
    return [lo, hi]


Range = Annotated[
    list[float],
    BeforeValidator(value_range),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]


class Level(ControlBase):
    """A ramp within a range."""

    kind: Literal["level"] = Field(description="level")
    unit: Unit = Field(description='the unit of its values, such as dB or "%"')
    range: Range = Field(description="[lowest, highest] in the unit")
    travel: LastingDuration = Field(description="the time that the whole range takes, such as 3s")
    start: Number | None = Field(None, description="the value at first; the lowest if not given")
    tolerance: Amount = Field(0.0, description="zones that differ by no more agree")
    ceiling: Number | None = Field(None, description="the highest value that an order can reach")
    unmute_on_raise: Name | None = Field(None, description="the mute that goes off when a hand raises it")
    sound: Flag | None = Field(None, description="whether more of it is louder; if not given, where its unit is dB")

    @property
    def top(self) -> float:
        return self.range[1] if self.ceiling is None else self.ceiling

    def faults(self) -> Iterator[Fault]:
        lo, hi = self.range
        if self.ceiling is not None and not lo <= self.ceiling <= hi:
            yield Fault(f"{plain(self.ceiling)} is outside the range", f"write {plain(lo)} to {plain(hi)}", "ceiling")
        elif self.start is not None and isinstance(fault := self.take(self.start), Fault):
            yield Fault(fault.text, fault.right, "start")

    def take(self, raw: object) -> Value | Fault:
        try:
            value = number(raw)
        except PydanticCustomError:
            return Fault(f"{shown(raw)} is not a level", f"write a number of {self.unit}, {self._bounds()}")
        if not self.range[0] <= value <= self.range[1]:
            return Fault(f"{plain(value)} is outside the range", f"write {self._bounds()} ({self.unit})")
        if value > self.top:
            above = f"{plain(value)} is above the ceiling of {plain(self.top)}"
            return Fault(above, f"write {self._bounds()} ({self.unit})", above_ceiling=True)
        return value

    def _bounds(self) -> str:
        return f"{plain(self.range[0])} to {plain(self.top)}"

    def members(self) -> dict[str, Any]:
        lo, hi = self.range
        return {
            "unit": self.unit,
            "lo": lo,
            "hi": hi,
            "travel": self.travel,
            "start": lo if self.start is None else self.start,
            "tolerance": self.tolerance,
            "ceiling": self.ceiling,
            "unmute_on_raise": self.unmute_on_raise,
            "sound": self.sound,
        }


class Switch(ControlBase):
    """On or off."""

    kind: Literal["switch"] = Field(description="switch")
    start: OnOff = Field(False, description="on or off at first", json_schema_extra={"default": "off"})
    min_on: Duration = Field(0.0, description="the shortest time on", json_schema_extra={"default": "0s"})
    min_off: Duration = Field(0.0, description="the shortest time off", json_schema_extra={"default": "0s"})
    mutes: Flag | None = Field(None, description="whether on is silence; if not given, if it is called mute")

    def take(self, raw: object) -> Value | Fault:
        try:
            return switched(raw)
        except PydanticCustomError:
            return Fault(f"{shown(raw)} is neither on nor off", "write on or off")

    def members(self) -> dict[str, Any]:
        return {"start": self.start, "min_on": self.min_on, "min_off": self.min_off, "mutes": self.mutes}


class Momentary(ControlBase):
    """On only while somebody holds it."""

    kind: Literal["momentary"] = Field(description="momentary")

    def take(self, raw: object) -> Value | Fault:
        return Fault("a momentary control is on only while somebody holds it: it takes no value", "leave it out")

    def members(self) -> dict[str, Any]:
        return {}


AnyControl = Choice | Level | Switch | Momentary | Motion
Control = Annotated[AnyControl, Field(discriminator="kind")]
KINDS: dict[str, type[AnyControl]] = {
    "choice": Choice,
    "level": Level,
    "switch": Switch,
    "momentary": Momentary,
    "motion": Motion,
}


def repeated(names: Sequence[str]) -> list[str]:
    """The names that occur more than once."""
    return [name for name, count in Counter(names).items() if count > 1]


def capitalised(identifier: str) -> str:
    """``heron-wall`` as words for people: ``Heron wall``."""
    words = identifier.replace("-", " ").strip()
    return words[:1].upper() + words[1:]


def resolved(identifier: str, control: AnyControl) -> dict[str, Any]:
    """A control as the core takes it, every member written out."""
    return {
        "kind": control.kind,
        **control.members(),
        "scope": control.scope,
        "name": control.name or capitalised(identifier),
        "section": control.section or "",
    }
