"""What a lamp of a station shows: the feedback of its controller, as the configuration puts it for the lamp.

A lamp stands for one option or position, and is lit where the linked zones have it. Where some have it and others have
not, it shows ``mixed``; one that has nothing configured for that shows what the controller's policy decides. A small
display (``shows: value``) takes the value itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.core import links
from roomlink.core.records import Level
from roomlink.core.spec import ControlSpec, LevelSpec, Value
from roomlink.core.state import State
from roomlink.limits import LEVEL_EPSILON


def shown(state: State, controller: str, lamp: Mapping[str, Any], now: float) -> Value:
    """What the device takes for a lamp, as it is configured, at ``now``."""
    control = lamp["control"]
    spec = links.controls_of(state, controller).get(control)
    if spec is None:
        return lamp["off"]  # type: ignore[no-any-return]  # a value as the configuration has it
    seen = links.shown(state, controller, control, spec, now)
    if lamp["shows"] == "value":
        if seen.mixed and lamp["mixed"] is not None:
            return lamp["mixed"]  # type: ignore[no-any-return]
        return "none" if not seen.decided or seen.value is None else seen.value
    has = [_lit(lamp, vote) for vote in _votes(state, controller, control, spec, now)]
    if any(has) and not all(has):
        if lamp["mixed"] is not None:
            return lamp["mixed"]  # type: ignore[no-any-return]
        has = [seen.decided and _lit(lamp, seen.value)]
    return lamp["on"] if has and all(has) else lamp["off"]  # type: ignore[no-any-return]


def _votes(state: State, controller: str, control: str, spec: ControlSpec, now: float) -> list[Value]:
    if isinstance(spec, LevelSpec):
        return [value for _, value in links.level_votes(state, controller, control, spec, now)]
    return [value for _, value in links.votes(state, controller, control, spec)]


def _lit(lamp: Mapping[str, Any], value: Value) -> bool:
    if lamp["shows"] == "at-least":
        return isinstance(value, float) and value >= lamp["is"] - LEVEL_EPSILON
    return bool(value == lamp["is"])


def steady_from(state: State, controller: str, control: str, now: float) -> float:
    """The stamp from which on no level that the lamp shows moves any more."""
    spec = links.controls_of(state, controller).get(control)
    ends = [now]
    for zone in links.reached(state, controller, control, spec) if isinstance(spec, LevelSpec) else ():
        record = state.controls[zone, control]
        if isinstance(record, Level) and record.arrival is not None:
            ends.append(record.arrival)
    return max(ends)
