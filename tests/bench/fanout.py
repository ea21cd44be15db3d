"""Service CPU of one change that reaches 1,000 panels, beside servers that do nothing but pass it on, in one run.

The same once more at 200 changes a second, with the time to the last panel; and how both grow from 10 to 5,000 panels.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tests.api.harness import HARBOUR
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found, curve, quick

PANELS, RATE, CHANGES, ROUNDS = 1000, 50.0, 150, 5
BUSY_RATE, BUSY_CHANGES = 200.0, 600
GROWING = {10: 200, 100: 200, 1000: 100, 2000: 60, 5000: 40}
"""Panels, and how many changes they get."""
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


def _at_rest(panels: int, changes: int, rounds: int) -> list[Found]:
    runs = measure(panels, RATE, changes, rounds)
    own, head = of(runs, "roomlink", "cpu"), f"CPU a change and a panel, {panels:,} panels"
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


def _busy(panels: int, changes: int, rounds: int) -> list[Found]:
    runs = measure(panels, BUSY_RATE, changes, rounds, ["websockets"])
    head = f"{panels:,} panels, {BUSY_RATE:g} changes a second:"
    cores = {name: [cpu * panels * BUSY_RATE for cpu in of(runs, name, "cpu")] for name in runs}
    p99 = {name: of(runs, name, "last.p99") for name in runs}
    floor = "a broadcast of websockets"
    return [
        Figure(f"{head} processors that the server keeps busy", "", cores["roomlink"], floor, cores["websockets"]),
        Figure(f"{head} p99 to the last panel", "ms", p99["roomlink"], floor, p99["websockets"]),
    ]


def _growing(points: dict[int, int], rounds: int) -> list[Found]:
    cpu: dict[str, dict[float, list[float]]] = {"roomlink": {}, "websockets": {}}
    last: dict[str, dict[float, list[float]]] = {"roomlink": {}, "websockets": {}}
    for panels, changes in points.items():
        runs = measure(panels, 20.0, changes, rounds, ["websockets"])
        for name in cpu:
            cpu[name][panels] = [value * panels for value in of(runs, name, "cpu")]
            last[name][panels] = of(runs, name, "last.median")
    found: list[Found] = []
    for name, title, up, taken in (
        ("panels-cpu", "CPU of a change by how many panels get it", "CPU a change", cpu),
        ("panels-last", "Time of a change to the last panel", "time to the last panel", last),
    ):
        own, beside = (curve(name, title, "panels", up, "ms", taken[n]) for n in ("roomlink", "websockets"))
        found.append(own.over("a broadcast of websockets", beside))
    return found


def main() -> list[Found]:
    if quick():
        return [*_at_rest(20, 10, 1), *_busy(20, 20, 1), *_growing({10: 5, 20: 5}, 1)]
    return [
        *_at_rest(PANELS, CHANGES, ROUNDS),
        *_busy(PANELS, BUSY_CHANGES, 3),
        *_growing(GROWING, 3),
    ]
