"""Requests from templates, and values from answers. Pure."""

from __future__ import annotations

import math
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

import orjson

from roomlink.drivers.port import Value, WireFault

ANSWER_BYTES_MAX = 256 * 1024
BODY_BYTES_MAX = 8 * 1024
TEXT_CHARS_MAX = 1000
AGAIN_S, AGAIN_S_MAX = 0.5, 2.0
MARK = "{value}"


def plain(value: Value) -> str:
    """A value within a text: a number as short as it goes, ``true`` or ``false``, nothing for none."""
    _check(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)


def path(template: str, value: Value) -> str:
    """The path and query with the value in its place, escaped."""
    return template.replace(MARK, quote(plain(value), safe=""))


def body(template: Any, value: Value) -> bytes:
    """The JSON text; a member that is exactly ``{value}`` becomes the value, with its own type."""
    _check(value)
    return orjson.dumps(_filled(template, value))


def _filled(template: Any, value: Value) -> Any:
    if isinstance(template, dict):
        return {key: _filled(member, value) for key, member in template.items()}
    if isinstance(template, list):
        return [_filled(member, value) for member in template]
    if template == MARK:
        return value
    return template.replace(MARK, plain(value)) if isinstance(template, str) else template


def _check(value: Value) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise WireFault(f"{value!r} is no number that can be sent")
    if isinstance(value, int) and abs(value) >= 2**53:
        raise WireFault("a whole number of more than 53 bits cannot be sent")
    if isinstance(value, str) and (len(value) > TEXT_CHARS_MAX or not _encodes(value)):
        raise WireFault(f"a text has at most {TEXT_CHARS_MAX} characters of Unicode")


def _encodes(text: str) -> bool:
    # A lone surrogate, which some JSON readers let through, has no UTF-8.
    return not any("\ud800" <= character <= "\udfff" for character in text)


def member(answer: bytes, way: tuple[str, ...]) -> Value:
    """The value at ``way`` in a JSON answer; an index counts from 0. Raises WireFault where there is none."""
    if len(answer) > ANSWER_BYTES_MAX:
        raise WireFault(f"the answer has more than {ANSWER_BYTES_MAX} bytes")
    try:
        at = orjson.loads(answer)
    except orjson.JSONDecodeError:
        raise WireFault("the answer is not JSON") from None
    for depth, key in enumerate(way):
        if isinstance(at, dict) and key in at:
            at = at[key]
        elif isinstance(at, list) and key.isdecimal() and key.isascii() and len(key) < 10 and int(key) < len(at):
            at = at[int(key)]
        else:
            raise WireFault(f"the answer has no {'.'.join(way[: depth + 1])!r}")
    if at is None or isinstance(at, bool | int | float | str):
        return at
    raise WireFault(
        f"{'.'.join(way)!r} in the answer is not a single value" if way else "the answer is no single value"
    )


def again_after(header: str | None) -> float:
    """Seconds to wait, of a Retry-After header (RFC 9110 §10.2.3) in seconds; bounded, as values do not wait long."""
    if header and header.isascii() and header.isdecimal() and len(header) < 10:
        return min(float(header), AGAIN_S_MAX)
    return AGAIN_S


def said(status: int) -> str:
    """A status code with its name."""
    try:
        return f"{status} {HTTPStatus(status).phrase}"
    except ValueError:
        return str(status)
