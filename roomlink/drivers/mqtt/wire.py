"""What stands in topics and payloads. Pure: the packets themselves are the library's business."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

import orjson

from roomlink.drivers.port import Value, WireFault

TOPIC_BYTES_MAX = 65535
PAYLOAD_BYTES_MAX = 16 * 1024
TEXT_CHARS_MAX = 1024

_NUMBER = re.compile(r"[+-]?[0-9]{1,17}(\.[0-9]{1,17})?([eE][+-]?[0-9]{1,3})?")
_WORDS: dict[str, Value] = {"on": True, "off": False, "none": None}


def topic(text: str) -> str:
    """A topic that can be published to; raises ValueError with what would be right (MQTT 3.1.1, 4.7)."""
    _name(text)
    if "+" in text or "#" in text:
        raise ValueError(f"{text!r} has a wildcard; write one topic, such as hall/heron/house")
    if text.startswith("$"):
        raise ValueError(f"{text!r}: topics that begin with $ belong to the broker")
    return text


def topic_filter(text: str) -> str:
    """A topic filter that can be subscribed to; raises ValueError with what would be right (MQTT 3.1.1, 4.7.1)."""
    _name(text)
    levels = text.split("/")
    for index, level in enumerate(levels):
        if "#" in level and (level != "#" or index != len(levels) - 1):
            raise ValueError(f"{text!r}: # stands alone as the last level, such as hall/#")
        if "+" in level and level != "+":
            raise ValueError(f"{text!r}: + stands alone in its level, such as hall/+/house")
    return text


def _name(text: str) -> None:
    if not text or "\0" in text:
        raise ValueError("a topic has one character at least, and no null character")
    try:
        size = len(text.encode())
    except UnicodeEncodeError:
        raise ValueError("a topic is Unicode text without surrogates") from None
    if size > TOPIC_BYTES_MAX:
        raise ValueError(f"a topic has at most {TOPIC_BYTES_MAX} bytes")


def matches(wanted: str, name: str) -> bool:
    """Whether the topic ``name`` is one of those that the filter ``wanted`` stands for."""
    levels, names = wanted.split("/"), name.split("/")
    if name.startswith("$") and levels[0] != names[0]:
        # 4.7.2: a wildcard in the first level does not reach the broker's own topics.
        return False
    if levels[-1] == "#":
        # "sport/#" is also "sport".
        return _alike(levels[:-1], names[: len(levels) - 1])
    return _alike(levels, names)


def _alike(levels: Sequence[str], names: Sequence[str]) -> bool:
    return len(levels) == len(names) and all(level in ("+", name) for level, name in zip(levels, names, strict=True))


def encode(value: Value, form: str, member: str | None) -> bytes:
    """The payload for a value; raises ValueError for what no payload can say."""
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{value} is no number that can be sent")
    if form == "json":
        return orjson.dumps(value if member is None else {member: value})
    if value is None or isinstance(value, bool):
        return next(word for word, meant in _WORDS.items() if meant is value).encode()
    if isinstance(value, str):
        if not value:
            raise ValueError("an empty payload would erase the retained message; give the binding a text for it")
        return value.encode()
    return f"{value:.10g}".encode()


def decode(payload: bytes, form: str, member: str | None) -> Value:
    """The value of a payload: numbers, ``on``, ``off`` and ``none`` are what they look like, the rest is text.

    Raises WireFault for anything else.
    """
    if len(payload) > PAYLOAD_BYTES_MAX:
        raise WireFault(f"a payload of {len(payload)} bytes; {PAYLOAD_BYTES_MAX} are taken")
    if form == "json":
        return _json(payload, member)
    try:
        text = payload.decode().strip()
    except UnicodeDecodeError:
        raise WireFault("the payload is not text in UTF-8") from None
    if not text or len(text) > TEXT_CHARS_MAX or not text.isprintable():
        raise WireFault(f"the payload is not 1 to {TEXT_CHARS_MAX} printable characters")
    if text in _WORDS:
        return _WORDS[text]
    return _finite(float(text)) if _NUMBER.fullmatch(text) else text


def _json(payload: bytes, member: str | None) -> Value:
    try:
        value: Any = orjson.loads(payload)
    except orjson.JSONDecodeError as error:
        raise WireFault(f"the payload is not JSON: {error}") from None
    if member is not None:
        if not isinstance(value, dict) or member not in value:
            raise WireFault(f"the payload has no member {member!r}")
        value = value[member]
    if isinstance(value, dict | list) or (isinstance(value, str) and len(value) > TEXT_CHARS_MAX):
        raise WireFault("the payload is not one number, word, true, false or null")
    return _finite(value) if isinstance(value, float) else value


def _finite(number: float) -> float:
    if not math.isfinite(number):
        raise WireFault("the number is too large")
    return number
