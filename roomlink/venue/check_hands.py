"""Findings about stations, locks that are ready by name, and who is missed as a lead. All are warnings."""

from __future__ import annotations

from collections.abc import Iterator

from roomlink.venue.findings import Path
from roomlink.venue.load import Loaded

Note = tuple[Path, str, str]


def _lamps(loaded: Loaded) -> Iterator[Note]:
    """Disagreement is never hidden: a lamp says it, and who presses sees what is so."""
    for name, station in loaded.data.get("stations", {}).items():
        path: Path = ("stations", name)
        if (station["keys"] or station["knobs"]) and not station["lamps"]:
            yield path, "nobody at this station sees what is so: it has no lamp", "add lamps: for what its keys do"
        for lamp, raw in station["lamps"].items():
            if raw["mixed"] is None:
                text = "where the linked zones disagree this lamp shows the controller's policy alone"
                yield (*path, "lamps", lamp), text, "add mixed: what the device takes for blinking or half lit"


def _ready_locks(loaded: Loaded) -> Iterator[Note]:
    for name, lock in loaded.data.get("locks", {}).items():
        if lock["seconds"] is None:
            text = "once set it stays until somebody releases it"
            yield ("locks", name), text, "add for: such as 4h, if it is to end by itself"


def _missed(loaded: Loaded) -> Iterator[Note]:
    rank = loaded.spec.lead_rank
    for name, controller in loaded.spec.controllers.items():
        if controller.panel == "expected" and name not in rank:
            text = "it never leads, so that nobody misses its panel"
            yield ("controllers", name, "panel"), text, f"add {name} to combining.lead_order, or leave panel out"


RULES = (_lamps, _ready_locks, _missed)
