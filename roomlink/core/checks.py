"""Checks of what callers ask, shared by all commands: each raises a ``CallerFault`` that says what would be right."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from roomlink.core import locks
from roomlink.core.spec import ChoiceSpec, ControlSpec, LevelSpec, SwitchSpec, Value
from roomlink.core.state import Draft, State
from roomlink.errors import BadValue, Refused, UnknownName

SWITCH_WORDS: dict[Any, bool] = {True: True, False: False, "on": True, "off": False}


def require(kind: str, name: str, known: Any) -> None:
    """Raise ``UnknownName`` unless the venue has it."""
    if name not in known:
        raise UnknownName(kind, name, list(known))


def require_unlocked(draft: Draft, controller: str) -> None:
    role = draft.roles.get(controller)
    if role is not None and role.locked is not None:
        raise Refused(
            "locked",
            f"{controller} is locked while {role.locked} leads its group",
            controller=controller,
            by=role.locked,
        )
    locks.require_key(draft, controller)


def seconds(field: str, value: Any, most: float) -> float:
    """A duration given by a caller, in seconds from 0 to ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= most:
        raise BadValue(field, f"{value!r} is not a number of seconds from 0 to {most:g}", minimum=0, maximum=most)
    return float(value)


def checked(control: str, spec: ControlSpec, value: Value, options: tuple[str, ...] | None = None) -> Value:
    """``value`` as the control takes it. Raises ``BadValue`` that says what is allowed."""
    if isinstance(spec, LevelSpec):
        if not isinstance(value, int | float) or isinstance(value, bool) or not spec.lo <= value <= spec.hi:
            allowed = f"{control} takes a number from {spec.lo:g} to {spec.hi:g} {spec.unit}"
            raise BadValue("value", f"{value!r} is not allowed: {allowed}", minimum=spec.lo, maximum=spec.hi)
        return float(value)
    if isinstance(spec, ChoiceSpec):
        offered = spec.options if options is None else options
        option = None if value == "none" else value
        if (option is None and spec.allow_none) or (isinstance(option, str) and option in offered):
            return option
        allowed = ", ".join((*offered, *(("none",) if spec.allow_none else ())))
        raise BadValue("value", f"{value!r} is not allowed: {control} takes {allowed}", allowed=list(offered))
    if isinstance(spec, SwitchSpec):
        if isinstance(value, bool | str) and value in SWITCH_WORDS:
            return SWITCH_WORDS[value]
        raise BadValue("value", f"{value!r} is not allowed: {control} takes true or false", allowed=[True, False])
    raise BadValue("control", f"{control} is a {spec.kind}, which holds no value")


def standing_over(state: State, zone: str) -> str | None:
    """The override that refuses orders in a zone now, if any."""
    for name in state.overrides.live():
        zones = state.spec.overrides[name].zones if name in state.spec.overrides else None
        if zones is None or zone in zones:
            return name
    return None


def require_no_override(draft: Draft, zones: Iterable[str]) -> None:
    """Raise while an override stands over any of ``zones``."""
    for zone in zones:
        if (name := standing_over(draft, zone)) is not None:
            why = draft.overrides[name].why
            text = f"the {name} override stands over {zone}" + (f" ({why})" if why else "") + ": orders are refused"
            raise Refused("overridden", text, override=name, zone=zone)
