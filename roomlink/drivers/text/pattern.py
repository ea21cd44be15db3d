"""Patterns: one way of writing a line with typed places in it, both to send it and to read it. Pure.

    SET {zone} VOL {value:number 1 decimal}      MUTE{value:on-off 1 0}      ERR {reason:text}

A place is ``{name:type words}``; ``{{`` and ``}}`` stand for the braces themselves. A place without a type takes a
constant. The types:

| type | takes | written |
|---|---|---|
| ``number`` | a number | as short as it goes; ``number 1 decimal`` always with one |
| ``integer`` | a number | rounded, half up; ``integer 3 digits`` always with three |
| ``word`` | a text | without white space |
| ``text`` | a text | anything; read up to the next literal text of the pattern |
| ``on-off`` | on or off | ``on-off ON OFF`` says how; ``on`` and ``off`` if not |
| ``choice`` | a name | ``choice laptop=IN1 camera='INPUT 2'`` says how; ``none=`` is no choice |

A line is read in one go from left to right: what a place takes is settled by its type and by the literal text behind
it, never by trying. So reading takes time in proportion to the line, whatever a device sends.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from roomlink.drivers.port import Value, WireFault

PLACES_MAX = 16
PATTERN_CHARS_MAX = 500
DIGITS_MAX = 12
_ENDING = frozenset("\r\n")

_TOKEN = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[^{}]+|[{}]")
_PLACE = re.compile(r"\s*([a-z][a-z0-9_-]*)\s*(?::\s*([a-z-]+)\s*(.*?))?\s*")
# A word, perhaps quoted, perhaps with a name before it: 'INPUT 2', OFF, laptop=IN1.
_WORD = re.compile(r"\s*(?:([a-z][a-z0-9-]*)=)?(?:'([^']*)'|([^\s'=]+))(?=\s|$)")


@dataclass(frozen=True, slots=True)
class _Type:
    """How one place is written and read. ``regex`` gets the literal text behind the place, None for the last one."""

    write: Callable[[Value], str]
    read: Callable[[str], Value]
    regex: Callable[[str | None], str]
    closed: bool = False
    """Whether it ends by itself, so that another place may follow at once."""
    numeric: bool = False


def _number_of(value: Value) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise WireFault(f"it takes a number, not {value!r}")
    if abs(value) >= 10**DIGITS_MAX:
        raise WireFault(f"{value:g} has more than {DIGITS_MAX} digits")
    return value


def _text_of(value: Value) -> str:
    if not isinstance(value, str):
        raise WireFault(f"it takes a text, not {value!r}")
    if not value.isprintable():
        # A line feed in it would begin a command of its own.
        raise WireFault("it takes printable characters only")
    return value


def _word_of(value: Value) -> str:
    text = _text_of(value)
    if not re.fullmatch(r"\S+", text):
        raise WireFault(f"it takes one word, not {text!r}")
    return text


def _decimal(value: float, decimals: int, keep: bool) -> str:
    text = f"{value:.{decimals}f}"
    if not keep and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def _number(words: str) -> _Type:
    found = re.fullmatch(r"(?:([0-9]) decimals?)?", words)
    if not found:
        raise ValueError(f"number {words!r}: write number, or number 1 decimal")
    keep = found[1] is not None
    decimals = int(found[1]) if keep else 6
    return _Type(
        lambda value: _decimal(_number_of(value), decimals, keep),
        float,
        lambda _: rf"[+-]?+[0-9]{{1,{DIGITS_MAX}}}+(?:\.[0-9]{{1,{DIGITS_MAX}}}+)?+",
        numeric=True,
    )


def _integer(words: str) -> _Type:
    found = re.fullmatch(r"(?:([0-9]{1,2}) digits?)?", words)
    digits = int(found[1] or 0) if found else DIGITS_MAX + 1
    if not found or digits > DIGITS_MAX:
        raise ValueError(f"integer {words!r}: write integer, or integer 3 digits ({DIGITS_MAX} at most)")

    def write(value: Value) -> str:
        whole = math.floor(_number_of(value) + 0.5)
        text = f"{'-' if whole < 0 else ''}{abs(whole):0{digits or 1}d}"
        if digits and len(text.lstrip("-")) > digits:
            raise WireFault(f"{whole} does not fit into {digits} digits")
        return text

    count = f"{{{digits}}}" if digits else f"{{1,{DIGITS_MAX}}}+"
    return _Type(write, int, lambda _: rf"[+-]?+[0-9]{count}", closed=bool(digits), numeric=True)


def _until(one: str, behind: str | None, least: str) -> str:
    """Characters up to the literal text ``behind``; in the last place of a pattern, as many as the end leaves."""
    if behind is None:
        return one + least
    return f"(?:(?!{re.escape(behind)}){one}){least}+"


def _word(words: str) -> _Type:
    _none(words, "word")
    return _Type(_word_of, str, lambda behind: _until(r"\S", behind, "+"))


def _text(words: str) -> _Type:
    _none(words, "text")
    return _Type(_text_of, str, lambda behind: _until(".", behind, "*"))


def _none(words: str, kind: str) -> None:
    if words:
        raise ValueError(f"{kind} {words!r}: write {kind} alone")


def _words(words: str) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    at = 0
    while at < len(words):
        match = _WORD.match(words, at)
        if not match:
            raise ValueError(
                f"{words[at:].strip()!r} cannot be read; write words, quoted as 'INPUT 2' where they have spaces"
            )
        text = match[2] if match[2] is not None else match[3]
        if not text.strip():
            raise ValueError("a word is empty")
        found.append((match[1] or "", text))
        at = match.end()
    return found


def _table(words: Mapping[Value, str], wanted: str) -> _Type:
    back = {text: value for value, text in words.items()}
    if len(back) < len(words):
        raise ValueError(f"{wanted}: two values are written the same way")
    # The longest first, so that IN10 is not read as IN1.
    regex = "|".join(re.escape(text) for text in sorted(back, key=len, reverse=True))

    def write(value: Value) -> str:
        for known, text in words.items():
            if known == value and isinstance(known, bool) == isinstance(value, bool):
                return text
        raise WireFault(f"it takes {wanted}, not {value!r}")

    return _Type(write, back.__getitem__, lambda _: regex, closed=True)


def _on_off(words: str) -> _Type:
    texts = _words(words) or [("", "on"), ("", "off")]
    if len(texts) != 2 or any(name for name, _ in texts):
        raise ValueError(f"on-off {words!r}: write two words, for on and for off, such as on-off ON OFF")
    return _table({True: texts[0][1], False: texts[1][1]}, "on or off")


def _choice(words: str) -> _Type:
    texts = _words(words)
    if not texts or not all(name for name, _ in texts):
        raise ValueError(f"choice {words!r}: write what each is called there, such as choice laptop=IN1 camera=IN2")
    names = [name for name, _ in texts]
    if len(set(names)) < len(names):
        raise ValueError(f"choice {words!r}: one name is there twice")
    return _table({None if name == "none" else name: text for name, text in texts}, f"one of {', '.join(names)}")


TYPES: dict[str, Callable[[str], _Type]] = {
    "number": _number,
    "integer": _integer,
    "word": _word,
    "text": _text,
    "on-off": _on_off,
    "choice": _choice,
}


class Pattern:
    """A compiled pattern; raises ValueError, saying what would be right, for one that makes no sense."""

    def __init__(self, pattern: str, constants: Mapping[str, str | int | float] | None = None) -> None:
        self.source = pattern
        self._parts = _merged(_parts(pattern, constants or {}))
        self.names = [name for name, _ in (part for part in self._parts if not isinstance(part, str))]
        if len(set(self.names)) < len(self.names):
            raise ValueError(f"{pattern!r} has two places of one name")
        if len(self.names) > PLACES_MAX:
            raise ValueError(f"{pattern!r} has more than {PLACES_MAX} places")
        self._regex = re.compile(_regex(self._parts, pattern), re.DOTALL)

    def write(self, values: Mapping[str, Value]) -> str:
        """The line with ``values`` in its places; raises WireFault for a value that its place does not take."""
        return "".join(part if isinstance(part, str) else part[1].write(values.get(part[0])) for part in self._parts)

    def read(self, line: str) -> dict[str, Value] | None:
        """What is in the places of ``line``; None where it is another line. White space around it does not count."""
        match = self._regex.fullmatch(line.strip())
        if match is None:
            return None
        types = dict(part for part in self._parts if not isinstance(part, str))
        return {name: types[name].read(text) for name, text in zip(self.names, match.groups(), strict=True)}

    def __str__(self) -> str:
        """The pattern with its constants in place, and its places by their names."""
        return "".join(part if isinstance(part, str) else f"{{{part[0]}}}" for part in self._parts)


_Part = str | tuple[str, _Type]


def _parts(pattern: str, constants: Mapping[str, str | int | float]) -> list[_Part]:
    if len(pattern) > PATTERN_CHARS_MAX or not pattern.strip() or _ENDING.intersection(pattern):
        raise ValueError(f"a pattern has 1 to {PATTERN_CHARS_MAX} characters; the line's ending is not written in it")
    parts: list[_Part] = []
    for token in _TOKEN.finditer(pattern):
        text = token[0]
        if token[1] is not None:
            parts.append(_place(text, token[1], constants))
        elif text in ("{", "}"):
            raise ValueError(f"{pattern!r} has a single {text}; write {text * 2} for the brace itself")
        else:
            parts.append(text[:1] if text in ("{{", "}}") else text)
    return parts


def _place(text: str, inside: str, constants: Mapping[str, str | int | float]) -> _Part:
    found = _PLACE.fullmatch(inside)
    if not found:
        raise ValueError(f"{text} is no place; write {{name:type}}, such as {{value:number}}")
    name, kind, words = found[1], found[2], found[3] or ""
    if kind is None:
        if name not in constants:
            raise ValueError(f"{text} has no type and no value; write {{{name}:number}}, or with: {{{name}: ...}}")
        constant = str(constants[name])
        if _ENDING.intersection(constant):
            raise ValueError(f"the value of {text} goes over the end of the line")
        return constant
    if kind not in TYPES:
        raise ValueError(f"{text}: there is no type {kind!r}; write one of {', '.join(TYPES)}")
    return name, TYPES[kind](words)


def _merged(parts: list[_Part]) -> list[_Part]:
    """Neighbouring literals as one, so that a place knows all that follows it."""
    merged: list[_Part] = []
    for part in parts:
        if isinstance(part, str) and merged and isinstance(merged[-1], str):
            merged[-1] += part
        elif part:
            merged.append(part)
    return merged


def _regex(parts: list[_Part], pattern: str) -> str:
    """A regular expression that never goes back over a place: each is possessive, but for the last and for tables."""
    # What is read is stripped, so what it is compared with must be.
    texts = list(parts) or [""]
    if isinstance(texts[0], str):
        texts[0] = texts[0].lstrip()
    if isinstance(texts[-1], str):
        texts[-1] = texts[-1].rstrip()
    regex = ""
    for at, part in enumerate(texts):
        if isinstance(part, str):
            regex += re.escape(part)
            continue
        behind = texts[at + 1] if at + 1 < len(texts) else None
        if isinstance(behind, tuple) and not part[1].closed:
            raise ValueError(f"{pattern!r}: something must stand between {{{part[0]}}} and the next place")
        literal = behind if isinstance(behind, str) and behind else None
        if literal and part[1].numeric and not part[1].closed and literal[0].isdigit():
            raise ValueError(f"{pattern!r}: a digit right behind {{{part[0]}}} would be read as part of it")
        regex += f"({part[1].regex(None if at + 2 >= len(texts) else literal)})"
    return regex
