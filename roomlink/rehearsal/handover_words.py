"""Values and things of a configuration in words, for documents and comparisons. Numbers keep their plain minus sign."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any

DURATIONS = frozenset(
    (
        "gap",
        "travel",
        "max_run",
        "dead_time",
        "min_on",
        "min_off",
        "settle",
        "move_limit",
        "blend",
        "stagger",
        "set_up",
        "clear_down",
        "over",
    )
)
"""Members whose numbers are seconds."""


def figure(value: float) -> str:
    """A number without needless decimals."""
    return f"{value:.10g}"


def words(value: Any, member: str = "") -> str:
    """Any plain value: nothing is ``none``, a switch ``on`` or ``off``; lists and mappings are written out."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, int | float):
        return figure(value) + (" s" if member in DURATIONS else "")
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {words(inner, str(key))}" for key, inner in value.items()) or "none"
    if isinstance(value, list | tuple):
        plain = not any(isinstance(inner, list | tuple | Mapping) for inner in value)
        return (", ".join(map(words, value)) or "none") if plain else json.dumps(value, ensure_ascii=False)
    return str(value)


def listing(names: Iterable[str], last: str = "and") -> str:
    """``Heron``, ``Heron and Plover``, ``Heron, Plover and Tern``; ``none`` without any."""
    found = list(names)
    return f"{', '.join(found[:-1])} {last} {found[-1]}" if len(found) > 1 else "".join(found) or "none"


def point_words(point: Mapping[str, Any] | None) -> str:
    """Which point of a device, in its driver's words."""
    return "" if point is None else ", ".join(f"{key} {words(value)}" for key, value in point.items())


def input_words(entry: Mapping[str, Any]) -> str:
    """A device and its point."""
    return f"{entry['device']}, {point_words(entry['point'])}"


def _choice(control: Mapping[str, Any]) -> str:
    said = f"{listing(control['options'], 'or')}"
    said += " or none" if control.get("allow_none", True) else ""
    said += f"; gap {figure(control.get('gap', 0.0))} s; starts at {words(control.get('start'))}"
    if control.get("fallback"):
        said += f"; falls back to {control['fallback']}"
    return said + ("; sources travel" if control.get("sources") else "")


def _level(control: Mapping[str, Any]) -> str:
    unit = control["unit"]
    said = f"{figure(control['lo'])} to {figure(control['hi'])} {unit} in {figure(control['travel'])} s"
    said += f"; starts at {figure(control['start'])} {unit}"
    if control.get("ceiling") is not None:
        said += f"; ceiling {figure(control['ceiling'])} {unit}"
    return said + (f"; tolerance {figure(control['tolerance'])} {unit}" if control.get("tolerance") else "")


def _switch(control: Mapping[str, Any]) -> str:
    said = f"on or off; starts {words(bool(control.get('start')))}"
    for member in ("min_on", "min_off"):
        if control.get(member):
            said += f"; {member.replace('min_', 'at least ')} for {figure(control[member])} s"
    return said


def _motion(control: Mapping[str, Any]) -> str:
    said = f"travel {figure(control['travel'])} s; cut off after {figure(control['max_run'])} s"
    said += f"; rests {figure(control.get('dead_time', 1.0))} s before reversing"
    return said + ("; runs while held" if control.get("hold", True) else "; runs until stopped")


_KINDS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "choice": _choice,
    "level": _level,
    "switch": _switch,
    "momentary": lambda control: "on while held",
    "motion": _motion,
}


def control_words(control: Mapping[str, Any]) -> str:
    """What a control can be, in its units."""
    return _KINDS[control["kind"]](control) + ("; stays with its zone" if control.get("scope") == "local" else "")
