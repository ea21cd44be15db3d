"""Service CPU of one change that reaches 1,000 panels, beside servers that do nothing but pass it on, in one run."""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tests.api.harness import HARBOUR
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found, quick

PANELS, RATE, CHANGES, ROUNDS = 1000, 50.0, 150, 3
FLOORS = {"websockets": "broadcast", "transports": "broadcast", "nats": "nats", "mosquitto": "mqtt"}
PATH = "/api/v1/panels/heron-wall"
Runs = dict[str, list[dict[str, Any]]]


def measure(panels: int, rate: float, changes: int, rounds: int, floors: Iterable[str] = FLOORS) -> Runs:
    """By server, what the listeners of each round found; ``cpu`` is that of the server, a change and a panel."""
    runs: Runs = {}
    with tempfile.TemporaryDirectory() as made:
        scratch = Path(made)
        with rig.roomlink(scratch, HARBOUR) as service:
            for _ in range(rounds):
                taken = {"roomlink": rig.load("roomlink", service, panels, rate, changes, PATH)}
                for name in floors:
                    with rig.floor(name, scratch) as server:
                        taken[name] = rig.load(FLOORS[name], server, panels, rate, changes)
                for name, run in taken.items():
                    runs.setdefault(name, []).append({**run, "cpu": run["cpu"] / changes / panels})
    return runs


def of(runs: Runs, name: str, what: str) -> list[float]:
    """One number a round: seconds of CPU, or the median or 99th of 100 of times."""
    if what == "cpu":
        return [run["cpu"] for run in runs[name]]
    times, _, which = what.partition(".")
    return [_of_times(run[times], which) for run in runs[name]]


def _of_times(values: list[float], which: str) -> float:
    return statistics.quantiles(values, n=100)[98] if which == "p99" else statistics.median(values)


def main() -> list[Found]:
    runs = measure(*((20, RATE, 10, 1) if quick() else (PANELS, RATE, CHANGES, ROUNDS)))
    own, head = of(runs, "roomlink", "cpu"), f"CPU a change and a panel, {PANELS:,} panels"
    last, presser = of(runs, "roomlink", "last.median"), of(runs, "roomlink", "own.median")
    return [
        Figure(head, "us", own, "a broadcast of websockets", of(runs, "websockets", "cpu"), 0.8),
        Figure(head, "us", own, "a NATS server", of(runs, "nats", "cpu"), 1.0),
        Figure(head, "us", own, "a Mosquitto server", of(runs, "mosquitto", "cpu"), 1.0),
        Figure(head, "us", own, "one frame on bare transports", of(runs, "transports", "cpu")),
        Figure(
            "Time to the last of them", "ms", last, "a broadcast of websockets", of(runs, "websockets", "last.median")
        ),
        Figure("Time to the one who asked, among them", "ms", presser, "the last of them", last),
    ]
