"""Memory that a zone, a link, a panel and a journal entry take: differences of what processes of their own really have.

The floor of a panel is a connection of a bare websockets server.
"""

from __future__ import annotations

import gc
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from roomlink import limits
from roomlink.core.commands import LinkZone
from roomlink.testing import venues
from tests.api.harness import HARBOUR
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found, quick
from tests.bench._place import BY, Place

ROUNDS = 3


def _now() -> int:
    gc.collect()
    return rig.rss_bytes(os.getpid())


def zones(many: int) -> list[int]:
    """Bytes before and with so many zones, each with four controls, a wall and a controller."""
    Place(venues.row(10), {})
    before = _now()
    place = Place(venues.row(many, combining=venues.lead_by_order(venues.names(many))), {})
    found = [before, _now()]
    assert place.entries
    return found


def links(many: int) -> list[int]:
    """Bytes before and with so many links, ten of each controller."""
    names = venues.names(many // 10 + 10)
    place = Place(venues.row(len(names)), {})
    before = _now()
    for number in range(many // 10):
        for step in range(1, 11):
            zone = names[(number + step) % len(names)]
            # Not told to anybody: what is kept of entries for panels that come back is not the links'.
            entry = place.engine.take(LinkZone(BY, f"{names[number]}-panel", zone), place.now).entry
            assert entry is not None
            place.engine.committed(entry)
    return [before, _now()]


def entries(many: int) -> list[int]:
    """Bytes before, with as many entries as are kept for panels that come back, and with as many again."""
    place = Place(venues.row(10), {"a-panel": 1})
    for _ in range(200):
        place.press()
    found = [_now()]
    for _ in range(2):
        for _ in range(many):
            place.press()
        found.append(_now())
    return found


APART = {"zones": zones, "links": links, "entries": entries}


def apart(what: str, many: int) -> list[int]:
    """Run one of the above in a process of its own."""
    words = [sys.executable, "-m", "tests.bench.memory", what, str(many)]
    found: list[int] = json.loads(subprocess.run(words, stdout=subprocess.PIPE, check=True, cwd=rig.ROOT).stdout)
    return found


def panels(many: int) -> tuple[list[float], list[float], float]:
    """Bytes a panel, of the service and of the floor; and what the service has without any."""
    own, floor, empty = [], [], 0.0
    with tempfile.TemporaryDirectory() as made:
        scratch = Path(made)
        for n in range(1 if quick() else ROUNDS):
            with rig.roomlink(scratch / str(n), HARBOUR) as service:
                rig.load("roomlink", service, 2, 10, 2, "/api/v1/panels/heron-wall")
                empty = rig.rss_bytes(service.pid)
                run = rig.load("roomlink", service, many, 10, 2, "/api/v1/panels/heron-wall")
                own.append((run["memory"] - empty) / many)
            with rig.floor("websockets", scratch) as server:
                rig.load("broadcast", server, 2, 10, 2)
                before = rig.rss_bytes(server.pid)
                floor.append((rig.load("broadcast", server, many, 10, 2)["memory"] - before) / many)
    return own, floor, float(empty)


def main() -> list[Found]:
    small = quick()
    many_zones, many_links, many_panels = (100, 100, 50) if small else (10_000, 10_000, 1000)
    many_entries = 200 if small else limits.RESUME_ENTRIES_MAX
    rounds = range(1 if small else ROUNDS)
    zone = [(b - a) / many_zones for a, b in (apart("zones", many_zones) for _ in rounds)]
    link = [(b - a) / many_links for a, b in (apart("links", many_links) for _ in rounds)]
    counted = [apart("entries", many_entries) for _ in rounds]
    own, floor, empty = panels(many_panels)
    return [
        Figure("The service with a small venue and no panel", "bytes", [empty]),
        Figure("A panel that is connected", "bytes", own, "a connection of websockets", floor),
        Figure("A zone: four controls, a wall, a controller", "bytes", zone),
        Figure("A link", "bytes", link),
        Figure(
            "A journal entry that a panel may come back to", "bytes", [(b - a) / many_entries for a, b, _ in counted]
        ),
        Figure("A journal entry beyond these", "bytes", [max(0.0, (c - b) / many_entries) for _, b, c in counted]),
    ]


if __name__ == "__main__":
    print(json.dumps(APART[sys.argv[1]](int(sys.argv[2]))))
