"""A month of a busy venue: backing up and restoring its journal, making level chatter small, and noting the head.

Figures are ratios to a floor of the same run: copying the file, or a commit with nothing else going on.
"""

from __future__ import annotations

import shutil
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from roomlink import limits
from roomlink.core.apply import apply
from roomlink.core.events import ControlSet, Entry, Event, HandSet, OverrideSet
from roomlink.core.records import Choice, Level, Override
from roomlink.core.snapshot import snapshot
from roomlink.core.state import State
from roomlink.journal import backup
from roomlink.journal.head import Head
from roomlink.journal.port import Snapshot
from roomlink.journal.restore import restore
from roomlink.journal.sqlite import SqliteJournal
from tests.bench._figures import Figure, Found, quick

VENUE = "bench"
ENTRIES = 100_000
"""About one each 26 seconds, day and night."""
DAY_S = 86400.0


def entry(seq: int) -> Entry:
    at = 1_800_000_000.0 + seq * 30 * DAY_S / ENTRIES
    zone = f"zone-{seq // 7 % 12}"
    events: tuple[Event, ...] = (
        ControlSet(zone, "volume", Level(-30.0, -30.0 + seq % 20, at, 1.0, by="panel-1")),
        HandSet("panel-1", "volume", -30.0 + seq % 20),
    )
    if seq % 25 == 0:
        events = (*events, ControlSet(zone, "program", Choice("laptop")))
    if seq % 5000 == 0:
        events = (OverrideSet("fire", Override(at, "its input")),)
    did = {"command": "Act", "control": "volume", "do": "set", "value": -30.0 + seq % 20, "controller": "panel-1"}
    return Entry(seq, at, "panel-1", "panel", did, events, "10.20.0.17")


def timed(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def commits(journal: SqliteJournal, count: int) -> list[float]:
    return [timed(lambda: journal.append([entry(journal.last_seq + 1)])) for _ in range(count)]


def main() -> list[Found]:
    entries = 2_000 if quick() else ENTRIES
    with tempfile.TemporaryDirectory(prefix="roomlink-bench-") as scratch:
        data = Path(scratch) / "data"
        path = data / backup.JOURNAL
        with closing(SqliteJournal(path, VENUE)) as journal:
            state = State()
            for first in range(1, entries + 1, 500):
                batch = [entry(seq) for seq in range(first, first + 500)]
                for event in (event for one in batch for event in one.events):
                    apply(state, event)
                journal.append(batch)
                if (first + 499) % limits.SNAPSHOT_ENTRIES == 0:
                    journal.save(Snapshot(batch[-1].seq, batch[-1].at, tuple(snapshot(state))))
        before = path.stat().st_size
        copied = timed(lambda: shutil.copyfile(path, Path(scratch) / "floor"))
        made = timed(lambda: backup.make(data, Path(scratch) / "b.zip"))
        back = timed(lambda: restore(Path(scratch) / "b.zip", Path(scratch) / "new"))
        size = (Path(scratch) / "b.zip").stat().st_size
        noted = head(Path(scratch) / "head")
        return [
            Figure(f"A backup of {entries:,} entries", "s", [made], "copying the file", [copied]),
            Figure("The backup", "bytes", [float(size)], "the journal's file", [float(before)]),
            Figure("Restoring it, every entry proved", "s", [back], "copying the file", [copied]),
            *small(path, before),
            Figure("Noting the head after a commit", "us", [noted]),
        ]


def small(path: Path, before: int) -> list[Found]:
    with closing(SqliteJournal(path, VENUE)) as journal:
        quiet = commits(journal, 200)
        steps, between = [], []
        more = True
        while more:
            begun = time.perf_counter()
            more = journal.compact(float("inf"), limits.COMPACT_ENTRIES_MAX)
            steps.append(time.perf_counter() - begun)
            if len(steps) % 10 == 0:
                between += commits(journal, 1)
    used = path.with_name("vacuumed")
    with closing(sqlite3.connect(path)) as db:
        db.execute("VACUUM INTO ?", (str(used),))
    return [
        Figure(
            f"A step of {limits.COMPACT_ENTRIES_MAX} entries made small", "ms", steps, "a commit", quiet, paired=False
        ),
        Figure("The slowest of 100 such steps", "ms", [quantile(steps)]),
        Figure("What is left of the journal", "bytes", [float(used.stat().st_size)], "before", [float(before)]),
        Figure("A commit in between", "ms", between, "one with nothing else going on", quiet, paired=False),
    ]


def quantile(values: list[float]) -> float:
    return statistics.quantiles(values, n=100)[98] if len(values) > 1 else values[0]


def head(path: Path) -> float:
    """Seconds to note the head once."""
    with closing(Head(path)) as note:
        begun = time.perf_counter()
        for seq in range(20_000):
            note.write("a" * 32, seq)
        return (time.perf_counter() - begun) / 20_000
