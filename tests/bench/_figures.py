"""What measurements give: figures beside their floors, and curves; kept as JSON, shown as lines of text."""

from __future__ import annotations

import json
import os
import platform
import statistics
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).with_name("results.json")
_PACKAGES = ("uvicorn", "uvloop", "websockets", "starlette", "orjson")
_SCALES = {"s": (1.0, "s"), "ms": (1e3, "ms"), "us": (1e6, "µs"), "bytes": (1.0, "B"), "": (1.0, "")}


@dataclass(frozen=True)
class Figure:
    """What was measured, again and again (``values``), beside a floor of the same run (``beside``).

    ``unit`` is that in which it is told: values are in seconds for ``s``, ``ms`` and ``us``, else bytes or a number.
    ``most`` is what the ratio may be, ``bound`` what the value may be. ``paired``: the values of a round belong
    together, so that their ratio is taken round by round.
    """

    name: str
    unit: str
    values: list[float]
    floor: str = ""
    beside: list[float] = field(default_factory=list)
    most: float | None = None
    bound: float | None = None
    paired: bool = True

    @property
    def ratios(self) -> list[float]:
        """To the floor; empty where there is none."""
        if not self.beside:
            return []
        if self.paired and len(self.values) == len(self.beside):
            return [a / b for a, b in zip(self.values, self.beside, strict=True)]
        return [statistics.median(self.values) / statistics.median(self.beside)]

    @property
    def met(self) -> bool | None:
        """Whether it is what it may be; None where nothing was asked."""
        if self.most is None and self.bound is None:
            return None
        ratio = self.most is None or statistics.median(self.ratios) <= self.most
        return ratio and (self.bound is None or statistics.median(self.values) <= self.bound)

    @property
    def asked(self) -> str:
        """What it may be, in words; empty where nothing was asked."""
        ratio = [] if self.most is None else [f"{self.most:g} x"]
        return " and ".join(ratio + ([] if self.bound is None else [told([self.bound], self.unit)]))


@dataclass(frozen=True)
class Curve:
    """How something grows: at each of ``at``, median, lowest and highest; ``beside`` is the floor's median.

    Times are in seconds, sizes in bytes; ``name`` is a file's name too.
    """

    name: str
    title: str
    along: str
    up: str
    unit: str
    at: list[float]
    median: list[float]
    low: list[float]
    high: list[float]
    floor: str = ""
    beside: list[float] = field(default_factory=list)

    def over(self, floor: str, beside: Curve) -> Curve:
        """With the floor beside it."""
        return replace(self, floor=floor, beside=beside.median)


Found = Figure | Curve


def curve(name: str, title: str, along: str, up: str, unit: str, taken: dict[float, list[float]]) -> Curve:
    """The curve of what was taken at each point; of ten rounds and more a tenth is left out at either end."""
    middle = [statistics.median(v) for v in taken.values()]
    inner = [sorted(v)[len(v) // 10 : len(v) - len(v) // 10] for v in taken.values()]
    low, high = [v[0] for v in inner], [v[-1] for v in inner]
    return Curve(name, title, along, up, unit, list(taken), middle, low, high)


def alternating(rounds: int, contestants: dict[str, Callable[[], float]]) -> dict[str, list[float]]:
    """Each in turn, again and again, so that a noisy machine is noisy for all."""
    taken: dict[str, list[float]] = {name: [] for name in contestants}
    for _ in range(rounds):
        for name, run in contestants.items():
            taken[name].append(run())
    return taken


def quick() -> bool:
    """Whether it is only to be seen that the measurements run: each is then as small as it can be."""
    return bool(os.environ.get("ROOMLINK_BENCH_QUICK"))


def number(value: float) -> str:
    """With three digits, and no power of ten where people would write none."""
    if value >= 1000 or value == int(value):
        return f"{value:,.0f}"
    return f"{value:.3g}"


def told(values: Sequence[float], unit: str) -> str:
    """Median and spread in the unit that is told."""
    by, name = _SCALES[unit]
    middle, low, high = (number(v * by) for v in (statistics.median(values), min(values), max(values)))
    if unit == "bytes" and statistics.median(values) >= 1e6:
        middle, low, high = (number(v / 1e6) for v in (statistics.median(values), min(values), max(values)))
        name = "MB"
    said = middle if low == high else f"{middle} ({low} to {high})"
    return f"{said} {name}".rstrip()


def line(one: Found) -> str:
    """One line for a terminal."""
    if isinstance(one, Curve):
        points = ", ".join(f"{number(x)}: {told([y], one.unit)}" for x, y in zip(one.at, one.median, strict=True))
        return f"{one.title}: {points}"
    said = f"{one.name}: {told(one.values, one.unit)}"
    if one.beside:
        said += f"; {told(one.ratios, '')} x {one.floor} ({told(one.beside, one.unit)})"
    return said + (f"; at most {one.asked}: {'met' if one.met else 'NOT met'}" if one.asked else "")


def machine() -> dict[str, str]:
    """Where and with what it is measured."""
    cpu = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.machine(),
    )
    servers = {
        name: _says(*words) for name, words in (("nats", ("nats-server", "-v")), ("mosquitto", ("mosquitto", "-h")))
    }
    found = {"cpu": f"{os.cpu_count()} x {cpu}", "python": platform.python_version(), "kernel": platform.release()}
    return {**found, **{n: version(n) for n in _PACKAGES}, **servers}


def _says(*words: str) -> str:
    """The version in the first line that a program says of itself."""
    said = subprocess.run(words, capture_output=True, text=True, check=False)
    return next(
        (
            word.lstrip("v")
            for word in (said.stdout + said.stderr).split()
            if "." in word and word.lstrip("v")[0].isdigit()
        ),
        "?",
    )


def load() -> float:
    """How many want a processor now, on average over a minute."""
    return os.getloadavg()[0]


def stored(bench: str, found: Sequence[Found], before: float, file: Path) -> None:
    """Put what ``bench`` found into ``file``, in the place of what it found before."""
    data: dict[str, Any] = json.loads(file.read_text()) if file.exists() else {}
    data[bench] = {
        "at": datetime.now(UTC).isoformat(timespec="minutes").replace("+00:00", "Z"),
        "load": [round(before, 1), round(load(), 1)],
        "machine": machine(),
        "found": [{"is": type(one).__name__.lower(), **_rounded(asdict(one))} for one in found],
    }
    file.write_text(json.dumps(dict(sorted(data.items())), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _rounded(data: dict[str, Any]) -> dict[str, Any]:
    """Five digits tell all that was measured."""
    return {k: [float(f"{x:.5g}") for x in v] if isinstance(v, list) else v for k, v in data.items()}


def read(file: Path = RESULTS) -> dict[str, tuple[dict[str, Any], list[Found]]]:
    """By bench: when, where and under what load it ran, and what it found."""
    kinds: dict[str, type[Any]] = {"figure": Figure, "curve": Curve}
    found: dict[str, tuple[dict[str, Any], list[Found]]] = {}
    for bench, run in json.loads(file.read_text(encoding="utf-8")).items():
        ones = [kinds[one.pop("is")](**one) for one in run.pop("found")]
        found[bench] = (run, ones)
    return found
