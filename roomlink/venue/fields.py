"""The kinds of value that the configuration is written in: names, durations, numbers, on and off, points.

Each refuses what does not fit with a plain sentence, and with what would be right.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from roomlink.core import durations
from roomlink.core.travel_spec import CARRIES, VENUE
from roomlink.limits import DURATION_S_MAX, NAME_CHARS_MAX
from roomlink.venue.findings import nearest

SECONDS_OF = durations.SECONDS_OF
DURATION_PATTERN = durations.PATTERN
NAME_PATTERN = r"^[a-z][a-z0-9-]*$"
PART_PATTERN = r"^[a-z0-9][a-z0-9-]*$"


def wrong(text: str, right: str = "") -> PydanticCustomError:
    """An error that carries its own sentence, and what would be right."""
    return PydanticCustomError("venue", "{text}", {"text": text, "right": right})


def shown(value: object) -> str:
    """A value as it stands in a sentence."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def plain(number: float) -> str:
    """A number without a needless ``.0``."""
    return f"{number:.10g}"


def duration(value: object) -> float:
    """Seconds of ``300ms``, ``3s``, ``2min`` or ``1h``."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise wrong(f"{shown(value)} has no unit of time", f"write {shown(value)}s" if value >= 0 else "write 3s")
    seconds = durations.seconds_of(value) if isinstance(value, str) else None
    if seconds is None:
        raise wrong(f"{shown(value)} is not a duration", "write a number and ms, s, min or h, such as 300ms or 3s")
    if seconds > DURATION_S_MAX:
        raise wrong(f"{value} is too long", f"write at most {plain(DURATION_S_MAX / 3600)}h")
    return seconds


def lasting(value: float) -> float:
    """A duration that is longer than nothing."""
    if value <= 0:
        raise wrong("it takes no time at all", "write a duration above 0, such as 3s")
    return value


def number(value: object) -> float:
    """A plain, finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise wrong(f"{shown(value)} is not a number", "write a plain number, such as -30 or 0.5")
    if not math.isfinite(value):
        raise wrong(f"{value} is not finite", "write a plain number, such as -30 or 0.5")
    return float(value)


def not_negative(value: float) -> float:
    if value < 0:
        raise wrong(f"{plain(value)} is below 0", "write 0 or more")
    return value


def headcount(value: object) -> int:
    """A whole number of people."""
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise wrong(f"{shown(value)} is not a number of people", "write a whole number from 1 up")
    return value


def switched(value: object) -> bool:
    """On or off. YAML 1.2 reads ``on`` and ``off`` as words."""
    known: dict[object, bool] = {"on": True, "off": False}
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value in known:
        return known[value]
    raise wrong(f"{shown(value)} is neither on nor off", "write on or off")


def flag(value: object) -> bool:
    """True or false, and nothing that merely looks like it."""
    if not isinstance(value, bool):
        raise wrong(f"{shown(value)} is neither true nor false", "write true or false")
    return value


def name(value: object) -> str:
    """An identifier."""
    if not isinstance(value, str):
        raise wrong(f"{shown(value)} is not a name", "write a name such as heron or east-2")
    if len(value) > NAME_CHARS_MAX:
        raise wrong(f"the name has {len(value)} characters", f"use at most {NAME_CHARS_MAX}")
    if not re.fullmatch(NAME_PATTERN[1:-1], value):
        raise wrong(
            f"{shown(value)} is not a name", "use lower-case letters, digits and hyphens, beginning with a letter"
        )
    return value


def part(value: object) -> str:
    """What ``repeat`` puts behind a name: part of an identifier; a whole number will do."""
    text = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if not isinstance(text, str) or not re.fullmatch(PART_PATTERN[1:-1], text):
        raise wrong(f"{shown(value)} cannot be part of a name", "use lower-case letters, digits and hyphens")
    return text


def label(value: str) -> str:
    """Words for people."""
    if not value.strip() or len(value) > NAME_CHARS_MAX or not value.isprintable():
        raise wrong(f"{shown(value)} cannot be shown as a name", f"write 1 to {NAME_CHARS_MAX} printable characters")
    return value


def unit(value: str) -> str:
    if not value.strip() or len(value) > 16 or not value.isprintable():
        raise wrong(f"{shown(value)} is not a unit", 'write a short unit, such as dB or "%"')
    return value


def timezone(value: str) -> str:
    """An IANA time zone that this machine knows."""
    try:
        ZoneInfo(value)
    except (OSError, ValueError, KeyError):
        # ZoneInfoNotFoundError is a KeyError; a folder's name such as "America" is an OSError.
        close = nearest(value, sorted(available_timezones()))
        right = f"did you mean {close!r}?" if close else "write an IANA name, such as America/Halifax"
        raise wrong(f"{shown(value)} is not a time zone", right) from None
    return value


def point(value: object) -> list[float]:
    """A point of the floor plan, in metres."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise wrong(f"{shown(value)} is not a point", "write [x, y] in metres, y downwards")
    return [number(value[0]), number(value[1])]


def outline(value: list[list[float]]) -> list[list[float]]:
    """A polygon."""
    turned = zip(value, value[1:] + value[:1], strict=True)
    if len(value) < 3 or abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in turned)) < 1e-9:
        raise wrong("the outline encloses no area", "write three corners or more, such as [[0,0],[12,0],[12,15]]")
    return value


def line(value: list[list[float]]) -> list[list[float]]:
    if len(value) < 2:
        raise wrong("a line has two points or more", "write it as [[12,0],[12,15]]")
    return value


_POINT: dict[str, Any] = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
_SPAN: dict[str, Any] = {
    "type": "string",
    "pattern": DURATION_PATTERN,
    "description": "A duration: 300ms, 3s, 2min or 1h.",
}
_NAME: dict[str, Any] = {"type": "string", "pattern": NAME_PATTERN, "maxLength": NAME_CHARS_MAX}

Duration = Annotated[float, BeforeValidator(duration), WithJsonSchema(_SPAN)]
LastingDuration = Annotated[float, BeforeValidator(duration), AfterValidator(lasting), WithJsonSchema(_SPAN)]
Number = Annotated[float, BeforeValidator(number), WithJsonSchema({"type": "number"})]
Amount = Annotated[
    float, BeforeValidator(number), AfterValidator(not_negative), WithJsonSchema({"type": "number", "minimum": 0})
]
Headcount = Annotated[int, BeforeValidator(headcount), WithJsonSchema({"type": "integer", "minimum": 1})]
OnOff = Annotated[bool, BeforeValidator(switched), WithJsonSchema({"enum": ["on", "off", True, False]})]
Flag = Annotated[bool, BeforeValidator(flag), WithJsonSchema({"type": "boolean"})]
Name = Annotated[str, BeforeValidator(name), WithJsonSchema(_NAME)]
# A name that may still hold {name}, to be filled in for each repetition.
Template = Annotated[str, Field(min_length=1)]
Part = Annotated[
    str, BeforeValidator(part), WithJsonSchema({"type": ["string", "integer"], "pattern": PART_PATTERN, "minimum": 0})
]
Label = Annotated[
    str,
    AfterValidator(label),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": NAME_CHARS_MAX}),
]
Unit = Annotated[str, AfterValidator(unit), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 16})]
Timezone = Annotated[str, AfterValidator(timezone), WithJsonSchema({"type": "string", "examples": ["America/Halifax"]})]
Point = Annotated[list[float], BeforeValidator(point), WithJsonSchema(_POINT)]
Outline = Annotated[list[Point], AfterValidator(outline)]
Line = Annotated[list[Point], AfterValidator(line)]
Scalar = Annotated[Any, WithJsonSchema({"type": ["string", "number", "boolean", "null"]})]


def carries(value: object) -> list[str]:
    """What a source gives or a choice takes: one of ``CARRIES``, or a list of them."""
    listed = [value] if isinstance(value, str) else value
    if not isinstance(listed, list) or not listed or any(one not in CARRIES for one in listed):
        raise wrong(f"{shown(value)} is neither sound nor picture", "write sound, picture or [sound, picture]")
    return [one for one in CARRIES if one in listed]


Carries = Annotated[
    list[str],
    BeforeValidator(carries),
    WithJsonSchema({"anyOf": [{"enum": list(CARRIES)}, {"type": "array", "items": {"enum": list(CARRIES)}}]}),
]


def source(value: object) -> str:
    """The name of an option, or of a source of the venue: ``venue/music``."""
    prefix = f"{VENUE}/"
    if isinstance(value, str) and value.startswith(prefix):
        return prefix + name(value.removeprefix(prefix))
    return name(value)


Source = Annotated[str, BeforeValidator(source), WithJsonSchema({"type": "string"})]
