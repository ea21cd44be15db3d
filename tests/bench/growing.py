"""How costs grow with zones, links and walls; one entry and one message for a combine; two messages for a ramp.

All in one process, without disk and sockets: seconds are of the CPU.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from itertools import pairwise

from roomlink.core.commands import LinkZone
from roomlink.core.division_commands import StateArrangement
from roomlink.core.groups import components
from roomlink.core.spec import from_data
from roomlink.journal.rows import START, rows_of
from roomlink.rehearsal.survey import survey
from roomlink.testing import venues
from roomlink.venue.load import Loaded
from tests.bench._figures import Figure, Found, alternating, curve, quick
from tests.bench._place import BY, Place

ZONES = (10, 30, 100, 300, 1000, 3000, 10_000)
LINKS = (1, 3, 10, 30, 100, 300, 1000)
WALLS = (4, 6, 8, 10, 12, 14, 16)
PRESSES, ROUNDS = 200, 15


def zones(counts: Sequence[int], rounds: int) -> list[Found]:
    """A press in one zone of a venue of so many, with a panel in each."""
    places = {}
    for many in counts:
        names = venues.names(many)
        data = venues.row(many, combining=venues.lead_by_order(names))
        places[many] = Place(data, {f"{zone}-panel": 1 for zone in names})
    contestants = {str(many): place.pressing(PRESSES) for many, place in places.items()}
    alternating(1, contestants)
    taken = alternating(rounds, contestants)
    least, most = (taken[str(counts[n])] for n in (0, -1))
    return [
        Figure(f"A change in one of {counts[-1]:,} zones", "us", most, f"in one of {counts[0]}", least, 1.1),
        curve("zones", "CPU of a change in one zone", "zones in the venue", "CPU a change", "us", _by(taken)),
    ]


def _by(taken: dict[str, list[float]]) -> dict[float, list[float]]:
    return {float(many): values for many, values in taken.items()}


def links(counts: Sequence[int], rounds: int) -> list[Found]:
    """A press that reaches so many zones; and a change in one zone that so many controllers are linked to."""
    reach, seen = {}, {}
    for many in counts:
        names = venues.names(many)
        reach[str(many)] = (place := Place(venues.row(many), {"a-panel": 1}))
        for zone in names[1:]:
            place.do(LinkZone(BY, "a-panel", zone))
        seen[str(many)] = (place := Place(venues.row(many), {f"{zone}-panel": 1 for zone in names}))
        for zone in names[1:]:
            place.do(LinkZone(BY, f"{zone}-panel", "a"))
    found: list[Found] = []
    for name, title, up, places in (
        ("links", "CPU of a press that reaches many zones", "CPU a press", reach),
        ("linked", "CPU of a change in a zone that many controllers are linked to", "CPU a change", seen),
    ):
        contestants = {many: place.pressing(max(1, 200 // int(many))) for many, place in places.items()}
        alternating(1, contestants)
        taken = alternating(rounds, contestants)
        each = [value / counts[-1] for value in taken[str(counts[-1])]]
        what = f"{title}: {counts[-1]:,}, each"
        found += [
            Figure(what, "us", each, "a press with one link", taken[str(counts[0])], 1.0),
            curve(name, title, "links", up, "ms", _by(taken)),
        ]
    return found


def walls(counts: Sequence[int], rounds: int) -> list[Found]:
    """Groups and leads of every arrangement; the floor are the groups by the plainest search."""
    taken: dict[float, list[float]] = {}
    floor: list[float] = []
    for many in counts:
        names = venues.names(many + 1)
        data = {**venues.row(many + 1, combining=venues.lead_by_order(names)), "occupancy": []}
        data |= {"microphones": {}, "loudspeakers": {}}
        loaded = Loaded(data, "", from_data(data), [], {})
        for _ in range(rounds):
            begun = time.thread_time()
            survey(loaded)
            taken.setdefault(many, []).append(time.thread_time() - begun)
            if many == 12:
                floor.append(plainly(names))
    title = "Groups and leads of every arrangement"
    found: list[Found] = [curve("walls", title, "walls in a row", "CPU", "ms", taken)]
    if floor:
        what = "Groups and leads of 4,096 arrangements"
        found.append(Figure(what, "ms", taken[12], "the groups alone, plainly searched", floor, bound=1.0))
    return found


def plainly(names: Sequence[str]) -> float:
    """Seconds to search the groups of a row in every arrangement, one after the other."""
    pairs = list(pairwise(names))
    begun = time.thread_time()
    for arrangement in range(1 << len(pairs)):
        beyond: dict[str, list[str]] = {name: [] for name in names}
        for number, (a, b) in enumerate(pairs):
            if arrangement >> number & 1:
                beyond[a].append(b)
                beyond[b].append(a)
        list(components(names, beyond.__getitem__))
    return time.thread_time() - begun


def combine(many: int, others: str, rounds: int) -> list[Figure]:
    """All walls of a row opened at once, with a panel in each zone; the floor is a change in each zone by itself."""
    names = venues.names(many)
    combining = {**venues.lead_by_order(names), "others": others, "on_combine": {"volume": "lead"}}
    opened = {f"{a}-{b}": "open" for a, b in pairwise(names)}
    data = venues.row(
        many, combining=combining, arrangements={"whole": {"name": "Whole", "walls": opened, "pin": 60.0}}
    )
    took, decided, floor, entries, told, size = [], [], [], [], [], []
    for _ in range(rounds):
        place = Place(data, {f"{zone}-panel": 1 for zone in names})
        begun = time.thread_time()
        for zone in names:
            place.press(f"{zone}-panel")
        floor.append(time.thread_time() - begun)
        before, heard = place.entries, place.told
        place.now += 0.01
        begun = time.thread_time()
        entry = place.engine.take(StateArrangement(BY, "whole"), place.now).entry
        assert entry is not None
        decided.append(time.thread_time() - begun)
        place.show(entry)
        took.append(time.thread_time() - begun)
        entries.append(float(place.entries - before))
        told.append((place.told - heard) / many)
        size.append(float(len(rows_of([entry], entry.seq - 1, START)[0][2])))
    head = f"A combine of {many:,} zones, others {others}"
    return [
        Figure(head, "ms", took, "a change in each zone by itself", floor),
        Figure(f"{head}: to decide it", "ms", decided),
        Figure(f"{head}: journal entries", "", entries, bound=1.0),
        Figure(f"{head}: messages a panel", "", told, bound=1.0),
        Figure(f"{head}: its entry", "bytes", size),
    ]


def ramp() -> list[Figure]:
    """A ramp of an hour beside one of a second: messages that a panel gets, and wake-ups between start and end."""
    told, wakes = {}, {}
    for seconds in (1.0, 3600.0):
        place = Place(venues.row(10), {"a-panel": 1})
        heard = place.told
        place.press(over=seconds)
        end, woken = place.now + seconds, 0
        while place.wake():
            woken += place.now < end - 0.001
        told[seconds], wakes[seconds] = float(place.told - heard), float(woken)
        assert abs(place.now - end) < 0.001, "its arrival is the last thing that is due"
    return [
        Figure("Messages a panel of a ramp of an hour", "", [told[3600.0]], "of a second", [told[1.0]], 1.0, 2.0),
        Figure("Wake-ups between its start and its end", "", [wakes[3600.0]], bound=0.0),
    ]


def main() -> list[Found]:
    if quick():
        few = [*zones((10, 20), 2), *links((1, 2), 2), *walls((4, 12), 1)]
        return [*few, *combine(10, "own", 1), *combine(10, "mirror", 1), *ramp()]
    return [
        *zones(ZONES, ROUNDS),
        *links(LINKS, ROUNDS),
        *walls(WALLS, 5),
        *combine(1000, "own", 3),
        *combine(100, "mirror", 3),
        *combine(200, "mirror", 1),
        *ramp(),
    ]
