"""Values that drivers' keys share: durations as everywhere in a venue, and errors that say what would be right."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, WithJsonSchema
from pydantic_core import PydanticCustomError

from roomlink.core.durations import PATTERN, seconds_of
from roomlink.limits import DURATION_S_MAX


class Strict(BaseModel):
    """A model that knows all of its keys, and never changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def wrong(text: str, right: str = "") -> PydanticCustomError:
    """An error to raise in a validator: its own sentence, and what would be right."""
    return PydanticCustomError("venue", "{text}", {"text": text, "right": right})


def seconds(value: object) -> float:
    """Seconds of a duration; a bare number is refused, because its unit could only be guessed."""
    length = seconds_of(value) if isinstance(value, str) else None
    if length is None:
        raise wrong(f"{value!r} is not a duration", "write a number and ms, s, min or h, such as 300ms or 3s")
    if length > DURATION_S_MAX:
        raise wrong(f"{value} is too long", f"write at most {DURATION_S_MAX / 3600:g}h")
    return length


def _lasting(length: float) -> float:
    if length <= 0:
        raise wrong("it takes no time at all", "write a duration above 0, such as 3s")
    return length


_SCHEMA: dict[str, Any] = {
    "type": "string",
    "pattern": PATTERN,
    "description": "A duration: 300ms, 3s, 2min or 1h.",
}

Duration = Annotated[float, BeforeValidator(seconds), WithJsonSchema(_SCHEMA)]
"""A field in seconds, 0 and up; bounds are given by the field, in seconds."""
LastingDuration = Annotated[float, BeforeValidator(seconds), AfterValidator(_lasting), WithJsonSchema(_SCHEMA)]
"""A field in seconds, above 0."""
