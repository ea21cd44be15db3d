"""Devices as people and programs see them: what is wanted, sent and reported at each point, and what inputs say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

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
) -> dict[str, Any]:
    """Every device; ``said`` holds what was heard at each input, and when."""
    return {name: _device(state, now, runner, wired[name], said) for name, runner in runners.items()}


def _device(
    state: State, now: float, runner: Runner, wired: Wired, said: Mapping[tuple[str, str], tuple[Value, float]]
) -> dict[str, Any]:
    heard = {point: said.get((wired.name, point)) for point in wired.read}
    return {
        "driver": wired.driver.name,
        "up": runner.health.up,
        "since": rfc3339(runner.health.since),
        "why": runner.health.why,
        "points": {**wanted.waiting(state, wired.bindings, now), **runner.snapshot()},
        "inputs": {
            point: {
                "what": wired.read[point],
                "value": None if value is None else value[0],
                "since": None if value is None else rfc3339(value[1]),
            }
            for point, value in heard.items()
        },
    }
