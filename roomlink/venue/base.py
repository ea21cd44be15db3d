"""What every kind of control has, and how a kind says what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from roomlink.core.spec import Value
from roomlink.venue.fields import NAME_PATTERN, Label, name, wrong
from roomlink.venue.findings import Severity

NONE = "none"
LEVEL_RULES = ("quietest", "loudest", "mean")
# Words that mean something in rules and values, and therefore cannot be the name of an option.
RESERVED = (NONE, "lead", "keep", "restore", *LEVEL_RULES)


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a value, and what would be right; ``member`` is the control's member that it is about."""

    text: str
    right: str = ""
    member: str = ""
    above_ceiling: bool = False
    severity: Severity = "error"


class Strict(BaseModel):
    """Unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def option(value: object) -> str:
    """The name of one option of a choice."""
    if isinstance(value, str) and value in RESERVED:
        raise wrong(f"an option cannot be named {value!r}: the word has a meaning of its own", "choose another name")
    if isinstance(value, str) and "/" in value:
        raise wrong(
            f"an option cannot be named {value!r}: a zone and a slash say whose option is meant",
            "use lower-case letters, digits and hyphens",
        )
    return name(value)


Option = Annotated[
    str,
    BeforeValidator(option),
    WithJsonSchema({"type": "string", "pattern": NAME_PATTERN, "not": {"enum": list(RESERVED)}}),
]


class ControlBase(Strict):
    """What every control has."""

    scope: Literal["group", "local"] = Field("group", description="group, or local: never follows a combine")
    name: Label | None = Field(None, description="the words on a panel")
    section: Literal["sound", "picture", "light", "room"] | None = Field(None, description="where a panel shows it")

    def faults(self) -> Iterator[Fault]:
        """What is unsound between the members."""
        return iter(())

    def take(self, raw: object) -> Value | Fault:
        """A value for this control, from what was written."""
        raise NotImplementedError

    def members(self) -> dict[str, Any]:
        """The members that only this kind has, resolved."""
        raise NotImplementedError
