"""PJLink class 1, as published by JBMIA: lines that end in a carriage return, one answer to one command. Pure."""

from __future__ import annotations

import hashlib
import re

from roomlink.drivers.port import Value, WireFault

LINE_BYTES_MAX = 136
"""Header, class, command and separator, 128 bytes of parameter, and the carriage return, with a little to spare."""

ERRORS = {
    "ERR1": "does not know this command",
    "ERR2": "has no such setting",
    "ERR3": "cannot do it now",
    "ERR4": "reports a failure",
}
NOT_NOW = "ERR3"

OFF, ON, COOLING, WARMING = "0", "1", "2", "3"
PHASES = {OFF: "off", ON: "on", COOLING: "cooling-down", WARMING: "warming-up"}

INPUT_KINDS = {"rgb": "1", "video": "2", "digital": "3", "storage": "4", "network": "5"}
_KIND_NAMES = {code: name for name, code in INPUT_KINDS.items()}
_INPUT = re.compile(rf"({'|'.join(INPUT_KINDS)})-([1-9])")

MUTE_CODES = {"picture": "1", "sound": "2", "both": "3"}
_MUTED: dict[str, frozenset[str]] = {
    "11": frozenset({"picture"}),
    "21": frozenset({"sound"}),
    "31": frozenset({"picture", "sound"}),
    # 10 and 20 are not in every edition; they can only mean that nothing is muted.
    "10": frozenset(),
    "20": frozenset(),
    "30": frozenset(),
}

PARTS = ("fan", "lamp", "temperature", "cover", "filter", "other")
"""What the error status tells of, in its order."""
SEVERITIES = ("ok", "warning", "error")


class Refused(Exception):
    """The display answered a command with an error; ``code`` is ``ERR1`` to ``ERR4``."""

    def __init__(self, code: str) -> None:
        super().__init__(f"the display {ERRORS[code]} ({code})")
        self.code = code


class WrongPassword(Exception):
    """The display does not take the password."""


def text_of(line: bytes) -> str:
    """A line without its carriage return; raises WireFault if it is none."""
    if not line.endswith(b"\r") or len(line) > LINE_BYTES_MAX:
        raise WireFault(f"a line has at most {LINE_BYTES_MAX} bytes and ends in a carriage return")
    try:
        text = line[:-1].decode()
    except UnicodeDecodeError:
        raise WireFault("a line that is not UTF-8") from None
    if not text.isprintable():
        raise WireFault("a line with control characters")
    return text


def salt_of(greeting: bytes) -> str | None:
    """The random number that a display with a password greets with; None from one without.

    Raises WrongPassword for ``PJLINK ERRA``, WireFault for anything that is no greeting.
    """
    text = text_of(greeting)
    if text.upper() == "PJLINK ERRA":
        raise WrongPassword
    if text.upper() == "PJLINK 0":
        return None
    found = re.fullmatch(r"PJLINK 1 ([0-9A-Za-z]{1,32})", text, re.IGNORECASE)
    if not found:
        raise WireFault("the greeting is not that of PJLink")
    return found[1]


def digest(salt: str, password: str) -> str:
    """What goes before the first command over a connection to a display with a password.

    The specification prescribes MD5, which is weak, and the line is not encrypted: whoever listens to one exchange can
    try passwords at leisure. Keep such displays in a network of their own, with passwords used for nothing else.
    """
    return hashlib.md5((salt + password).encode(), usedforsecurity=False).hexdigest()


def command(name: str, parameter: str) -> bytes:
    """A command, such as ``%1POWR ?`` with its carriage return."""
    return f"%1{name} {parameter}\r".encode()


def answer(line: bytes, name: str) -> str:
    """The parameter of the answer to the command ``name``.

    Raises Refused for an error, WrongPassword for ``PJLINK ERRA``, WireFault for what is no answer to it.
    """
    text = text_of(line)
    if text.upper() == "PJLINK ERRA":
        raise WrongPassword
    head, _, parameter = text.partition("=")
    if head.upper() != f"%1{name}":
        raise WireFault(f"no answer to {name}: {text[:20]!r}")
    if parameter.upper() in ERRORS:
        raise Refused(parameter.upper())
    return parameter


def done(parameter: str) -> None:
    """Check the answer to an order; raises WireFault unless it is OK."""
    if parameter.upper() != "OK":
        raise WireFault(f"an order is answered by OK, not {parameter[:20]!r}")


def input_code(value: Value) -> str:
    """``digital-1`` as the display knows it; raises ValueError with what would be right."""
    found = _INPUT.fullmatch(value) if isinstance(value, str) else None
    if not found:
        kinds = ", ".join(INPUT_KINDS)
        raise ValueError(f"{value!r} is no input; it is one of {kinds} with -1 to -9, such as digital-1")
    return INPUT_KINDS[found[1]] + found[2]


def input_name(code: str) -> str:
    """``31`` as ``digital-1``."""
    if len(code) != 2 or code[0] not in _KIND_NAMES or code[1] not in "123456789":
        raise WireFault(f"{code[:20]!r} is no input of class 1")
    return f"{_KIND_NAMES[code[0]]}-{code[1]}"


def muted(code: str, of: str) -> Value:
    """Whether ``of`` is muted. For ``both`` while only one is: which one, since that is neither on nor off."""
    if code not in _MUTED:
        raise WireFault(f"{code[:20]!r} is no mute status")
    parts = _MUTED[code]
    if of != "both":
        return of in parts
    return len(parts) == 2 if len(parts) != 1 else next(iter(parts))


def phase_of(code: str) -> str:
    """The power status; raises WireFault if it is none."""
    if code not in PHASES:
        raise WireFault(f"{code[:20]!r} is no power status")
    return code


def severity(code: str, of: str | None) -> str:
    """How bad the state of one part is, or the worst of all."""
    if len(code) != len(PARTS) or set(code) - set("012"):
        raise WireFault(f"{code[:20]!r} is no error status")
    return SEVERITIES[max(int(c) for part, c in zip(PARTS, code, strict=True) if of in (None, part))]


def lamp_hours(text: str, lamp: int) -> int | None:
    """Hours of use of a lamp, from 1; None where the display has not so many."""
    words = text.split(" ")
    if len(words) % 2 or not all(re.fullmatch("[0-9]{1,5}", word) for word in words):
        raise WireFault(f"{text[:20]!r} is no lamp status")
    hours = words[::2]
    return int(hours[lamp - 1]) if lamp <= len(hours) else None
