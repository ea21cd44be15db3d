"""How the CPU of a change, and the time to the last panel, grow from 10 panels to 5,000."""

from __future__ import annotations

from tests.bench._figures import Found, curve, quick
from tests.bench.fanout import measure, of

SIZES = {10: 60, 100: 60, 1000: 40, 2000: 20, 5000: 10}
"""Panels, and how many changes they get."""
RATE, ROUNDS = 20.0, 1


def main() -> list[Found]:
    sizes, rounds = ({10: 5, 20: 5}, 1) if quick() else (SIZES, ROUNDS)
    cpu: dict[str, dict[float, list[float]]] = {"roomlink": {}, "websockets": {}}
    last: dict[str, dict[float, list[float]]] = {"roomlink": {}, "websockets": {}}
    for panels, changes in sizes.items():
        runs = measure(panels, RATE, changes, rounds, ["websockets"])
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
