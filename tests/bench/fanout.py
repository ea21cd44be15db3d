"""Service CPU of one change that reaches 1,000 panels, beside servers that do nothing but pass it on, in one run."""

from __future__ import annotations

import statistics
import tempfile
from pathlib import Path

from tests.api.harness import HARBOUR
from tests.bench import _rig as rig

PANELS, RATE, CHANGES, ROUNDS = 1000, 50.0, 150, 3
FLOORS = {"websockets": "broadcast", "transports": "broadcast", "nats": "nats", "mosquitto": "mqtt"}


def _p99(values: list[float]) -> float:
    return statistics.quantiles(values, n=100)[98] if len(values) > 1 else values[0]


def measure(
    panels: int = PANELS, rate: float = RATE, changes: int = CHANGES, rounds: int = ROUNDS
) -> dict[str, dict[str, float]]:
    """By server: CPU microseconds a change and a panel, and seconds to the last panel (median, 99th of 100)."""
    cpu: dict[str, list[float]] = {}
    last: dict[str, list[float]] = {}
    own: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as made:
        scratch = Path(made)
        with rig.roomlink(scratch, HARBOUR) as service:
            for _ in range(rounds):
                runs = {"roomlink": rig.load("roomlink", service, panels, rate, changes, "/api/v1/panels/heron-wall")}
                for name, kind in FLOORS.items():
                    with rig.floor(name, scratch) as server:
                        runs[name] = rig.load(kind, server, panels, rate, changes)
                for name, run in runs.items():
                    cpu.setdefault(name, []).append(run["cpu"] / changes / panels * 1e6)
                    last.setdefault(name, []).extend(run["last"])
                    own.setdefault(name, []).extend(run["own"])
    return {
        name: {
            "cpu_us": statistics.median(cpu[name]),
            "cpu_low": min(cpu[name]),
            "cpu_high": max(cpu[name]),
            "last_s": statistics.median(last[name]),
            "last_p99_s": _p99(last[name]),
            "own_s": statistics.median(own[name]),
        }
        for name in cpu
    }


def main() -> None:
    found = measure()
    base = found["websockets"]["cpu_us"]
    print(f"{PANELS} panels, {CHANGES} changes at {RATE:g} a second")
    for name, figures in found.items():
        print(
            f"{name:12} CPU {figures['cpu_us']:6.2f} us a panel ({figures['cpu_low']:.2f} to {figures['cpu_high']:.2f}),"
            f" {figures['cpu_us'] / base:5.2f} x websockets; last panel {figures['last_s'] * 1e3:6.1f} ms,"
            f" p99 {figures['last_p99_s'] * 1e3:6.1f} ms; presser {figures['own_s'] * 1e3:6.2f} ms"
        )


if __name__ == "__main__":
    main()
