"""``python -m tests.bench._pages``: the tables and drawings of ``deploy/``, from what was last measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.bench._figures import Curve, Figure, Found, read, told
from tests.bench._plot import drawn, words
from tests.bench._rig import ROOT
from tests.bench._sizing import table

DEPLOY = ROOT / "deploy"
SPEED, SIZING = "speed.md", "sizing.md"
PAGES = (SPEED, SIZING)
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
TITLES = {
    "fanout": "Telling many panels",
    "busy": "Telling many panels very often",
    "panels": "Telling more and more panels",
    "press": "A press",
    "panel": "A press in a browser",
    "growing": "What grows with the venue",
    "starting": "The journal, and starting from it",
    "year": "A whole year's journal",
    "memory": "Memory",
    "crowd": "Beside a crowd",
    "keeping": "Backup and retention",
    "diary": "The diary",
    "nodes": "Several machines",
}
"""The measurements in the order of the page."""
_MET = {True: "yes", False: "**no**", None: ""}


def pages(runs: Mapping[str, tuple[dict[str, Any], list[Found]]]) -> dict[str, str]:
    """By file name in ``deploy/``: the drawings; and of ``PAGES`` what stands between the marks."""
    found: dict[str, str] = {}
    machines = list(dict.fromkeys(_machine(run) for run, _ in runs.values()))
    parts = [f"Measured on {machines[0]}."] if len(machines) == 1 else []
    for bench, title in TITLES.items():
        if bench not in runs:
            continue
        run, ones = runs[bench]
        where = "" if len(machines) == 1 else f", on {_machine(run)}"
        parts += [f"### {title}", f"`{bench}`, {run['at']}, load average {_load(run)}{where}."]
        figures = [_row(one) for one in ones if isinstance(one, Figure)]
        head = ["| what | measured | beside | ratio | at most | met |", "|---|---|---|---|---|---|"]
        parts.append("\n".join((*head, *figures)))
        for one in ones:
            if isinstance(one, Curve):
                found[f"speed-{one.name}.svg"] = drawn(one)
                parts.append(f"![{words(one)}](speed-{one.name}.svg)")
    found[SPEED] = "\n\n".join((BEGIN, *parts, END))
    found[SIZING] = "\n\n".join((BEGIN, table([one for _, ones in runs.values() for one in ones]), END))
    return found


def _machine(run: Mapping[str, Any]) -> str:
    return ", ".join(said if name == "cpu" else f"{name} {said}" for name, said in run["machine"].items())


def _load(run: Mapping[str, Any]) -> str:
    before, after = run["load"]
    return f"{before:g} before, {after:g} after"


def _row(one: Figure) -> str:
    beside = f"{one.floor}: {told(one.beside, one.unit)}" if one.beside else ""
    ratio = told(one.ratios, "") if one.beside else ""
    return f"| {one.name} | {told(one.values, one.unit)} | {beside} | {ratio} | {one.asked} | {_MET[one.met]} |"


def between(page: str) -> str:
    """What stands between the marks of a page, with them."""
    return page[page.index(BEGIN) : page.index(END) + len(END)]


def main() -> None:
    for name, text in pages(read()).items():
        file = DEPLOY / name
        if name in PAGES:
            old = file.read_text(encoding="utf-8")
            text = old.replace(between(old), text)
        file.write_text(text, encoding="utf-8")
        print(file.relative_to(ROOT))


if __name__ == "__main__":
    main()
