"""A busy year's journal, all of it: its size, starting from it, and what `keep_days: 30` leaves of it.

``ROOMLINK_YEAR=30000000`` writes a year of 30 million level events (some 18 GB, about an hour); a hundredth of one if
nothing is said. Events are decided by the core for a pool of them, and
taken again and again with new numbers and times.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from itertools import islice
from pathlib import Path

from roomlink import limits
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.events import Entry
from roomlink.core.snapshot import snapshot
from roomlink.core.state import State
from roomlink.journal.backup import JOURNAL
from roomlink.journal.port import Snapshot
from roomlink.journal.sqlite import SqliteJournal
from roomlink.runtime.engine import Engine
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, write_venue
from tests.bench._figures import Figure, Found, quick
from tests.bench.starting import YEAR_S, busy, opening, started

POOL = 50_000
KEPT_S = 30 * 86400.0


def a_year(pool: list[Entry], count: int, end: float) -> Iterator[Entry]:
    """``count`` level events from seq 2 on, evenly over a year; the last of them at the stamp ``end``."""
    for n in range(count):
        one = pool[n % len(pool)]
        yield replace(one, seq=n + 2, at=end - YEAR_S + (n + 1) * YEAR_S / count)


def fill(folder: Path, venue: Path, count: int, end: float) -> Path:
    """The journal of that year with its snapshots, as the service leaves it when it is killed half-way between two."""
    loaded = load(venue)
    engine, state = Engine(State(), 0), State()
    first = engine.take(Configure(SERVICE, loaded.data, loaded.digest), end - YEAR_S).entry
    assert first is not None
    engine.committed(first)
    pool = list(busy(engine, min(POOL, count), end))
    folder.mkdir(mode=0o700)
    with closing(SqliteJournal(folder / JOURNAL, loaded.spec.id)) as journal:
        journal.append([first])
        for event in first.events:
            apply(state, event)
        entries = a_year(pool, count, end)
        while batch := list(islice(entries, limits.APPEND_BATCH_ENTRIES_MAX)):
            journal.append(batch)
            for event in (event for entry in batch for event in entry.events):
                apply(state, event)
            last = batch[-1]
            due = last.seq // limits.SNAPSHOT_ENTRIES > batch[0].seq // limits.SNAPSHOT_ENTRIES
            if due and last.seq < count - limits.SNAPSHOT_ENTRIES // 2:
                journal.save(Snapshot(last.seq, last.at, tuple(snapshot(state))))
    return folder / JOURNAL


def kept(path: Path, venue: str, before: float) -> tuple[float, float, float]:
    """Seconds that making small took, the longest step of it, and the bytes that are in use then."""
    longest, begun = 0.0, time.perf_counter()
    with closing(SqliteJournal(path, venue)) as journal:
        more = True
        while more:
            step = time.perf_counter()
            more = journal.compact(before, limits.COMPACT_ENTRIES_MAX)
            longest = max(longest, time.perf_counter() - step)
    took = time.perf_counter() - begun
    with closing(sqlite3.connect(path)) as db:
        page, pages, free = (
            db.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_size", "page_count", "freelist_count")
        )
    return took, longest, float(page * (pages - free))


def main() -> list[Found]:
    count = 2_000 if quick() else int(os.environ.get("ROOMLINK_YEAR", "300000"))
    with tempfile.TemporaryDirectory(prefix="roomlink-bench-") as made:
        scratch = Path(made)
        venue = write_venue(scratch / "venue", HARBOUR)
        name, end = load(venue).spec.id, time.time() - 60.0
        begun = time.perf_counter()
        path = fill(scratch / "year", venue, count, end)
        filled = time.perf_counter() - begun
        size = float(path.stat().st_size)
        opened = [opening(path, name) for _ in range(5)]
        bare = [started(venue, scratch / f"new-{n}") for n in range(5)]
        took = [started(venue, path.parent) for _ in range(5)]
        compacting, longest, left = kept(path, name, end - KEPT_S)
        after = [started(venue, path.parent) for _ in range(5)]
        what = f"of a year of {count:,} level events"
        return [
            Figure(f"The journal {what}, nothing made small", "bytes", [size]),
            Figure("Start to ready from it", "s", took, "from an empty one", bare, bound=2.0),
            Figure("Opening it and folding what lies behind the snapshot", "s", opened),
            Figure(f"The journal {what} with `keep_days: 30`", "bytes", [left], "before", [size]),
            Figure("Start to ready from that", "s", after, "from an empty one", bare, bound=2.0),
            Figure("Making one event small", "us", [compacting / (count * (1.0 - KEPT_S / YEAR_S))]),
            Figure("The longest step of it", "ms", [longest]),
            Figure("Writing one event, in batches", "us", [filled / count]),
        ]
