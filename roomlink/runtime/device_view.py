"""Devices as people and programs see them: what is wanted, sent and reported at each point, and what inputs say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomlink.core import discretion
from roomlink.core.instants import rfc3339
from roomlink.core.state import State
from roomlink.drivers.port import Value
from roomlink.drivers.runner import Runner
from roomlink.runtime import wanted
from roomlink.runtime.wiring import Wired


def devices(
    state: State,
    now: float,
    runners: Mapping[str, Runner],
    wired: Mapping[str, Wired],
    said: Mapping[tuple[str, str], tuple[Value, float]],
    *,
    may_see: bool = False,
) -> dict[str, Any]:
    """Every device; ``said`` holds what was heard at each input, and when.

    Of what drives or senses a zone in private use only its health is told, but to a reader who ``may_see``.
    """
    return {
        name: _device(state, now, runner, wired[name], said, set() if may_see else _veiled(state, wired[name]))
        for name, runner in runners.items()
    }


def _veiled(state: State, wired: Wired) -> set[str]:
    """The points whose values tell what goes on in a zone in private use."""
    at = [(binding.zone, point) for binding in wired.bindings for point in binding.points.values()]
    homes = {name: spec.home for name, spec in state.spec.controllers.items()}
    for point, parts in wired.stations.items():
        at += [(homes.get(part.controller, ""), point) for part in parts]
    for point, inputs in wired.inputs.items():
        at += [(one.what.removeprefix("presence/"), point) for one in inputs if one.what.startswith("presence/")]
    return {point for zone, point in at if discretion.veiled(state, zone)}


def _device(
    state: State,
    now: float,
    runner: Runner,
    wired: Wired,
    said: Mapping[tuple[str, str], tuple[Value, float]],
    hidden: set[str],
) -> dict[str, Any]:
    heard = {point: None if point in hidden else said.get((wired.name, point)) for point in wired.read}
    points = {**wanted.waiting(state, wired.bindings, now), **runner.snapshot()}
    for point in hidden & points.keys():
        points[point] = {**points[point], "wanted": None, "sent": None, "reported": None}
    return {
        "driver": wired.driver.name,
        "up": runner.health.up,
        "since": rfc3339(runner.health.since),
        "why": runner.health.why,
        "points": points,
        "inputs": {
            point: {
                "what": wired.read[point],
                "value": None if value is None else value[0],
                "since": None if value is None else rfc3339(value[1]),
            }
            for point, value in heard.items()
        },
    }
