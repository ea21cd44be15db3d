"""A journal of a million level events: its size, starting from it, folding it, snapshots, and what retention leaves.

The service is started as a process, and is ready when it says its address. From the bytes an event takes it is worked
out what a busy year of 30 million level events needs; nothing but that is worked out.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import orjson

from roomlink import limits
from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Act, Actor, Configure
from roomlink.core.events import Entry
from roomlink.core.snapshot import snapshot
from roomlink.core.state import State
from roomlink.journal.backup import JOURNAL
from roomlink.journal.port import Snapshot
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal
from roomlink.runtime.engine import Engine
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, write_venue
from tests.bench import _rig as rig
from tests.bench._figures import Figure, Found, quick

ENTRIES, SMALL = 1_000_000, 10_000
YEAR = 30_000_000
YEAR_S = 365 * 86400.0
STARTS = 5
CONTROLLERS = ("heron-wall", "plover-wall", "tern-wall")


def busy(engine: Engine, count: int, end: float) -> Iterator[Entry]:
    """So many level events of a busy year, decided by the core; the last of them at the stamp ``end``.

    Somebody moves a level every second or so, day and night: a set, of each 20th a ramp, which arrives by itself.
    """
    dice, pace = random.Random(7), YEAR_S / YEAR
    made, now = 0, end - count * pace
    while made < count:
        now += pace
        while made < count and (woken := engine.wake(now)) is not None:
            made += 1
            yield woken
        controller = dice.choice(CONTROLLERS)
        over = 2.0 if dice.random() < 0.05 else 0.0
        value = dice.randrange(-600, 0) / 10.0
        by = Actor(controller, "panel", f"socket-{dice.randrange(1, 90)}", "10.20.0.17")
        taken = engine.take(Act(by, "volume", "set", controller, None, value, over, None, True), now)
        if taken.entry is not None and made < count:
            made += 1
            yield taken.entry


def fill(folder: Path, venue: Path, count: int) -> Path:
    """A journal as the service leaves it, with its snapshots; killed half-way between two of them."""
    loaded = load(venue)
    engine = Engine(State(), 0)
    end = time.time() - 60.0
    folder.mkdir(mode=0o700)
    with closing(SqliteJournal(folder / JOURNAL, loaded.spec.id)) as journal:
        batch: list[Entry] = []
        first = engine.take(Configure(SERVICE, loaded.data, loaded.digest), end - YEAR_S).entry
        assert first is not None
        engine.committed(first)
        journal.append([first])
        for entry in busy(engine, count, end):
            engine.committed(entry)
            batch.append(entry)
            last = entry.seq % limits.SNAPSHOT_ENTRIES == 0 and entry.seq < count - limits.SNAPSHOT_ENTRIES // 2
            if len(batch) == limits.APPEND_BATCH_ENTRIES_MAX or last or entry.seq == count + 1:
                journal.append(batch)
                batch.clear()
            if last:
                journal.save(Snapshot(entry.seq, entry.at, tuple(snapshot(engine.durable))))
    return folder / JOURNAL


def started(venue: Path, data: Path) -> float:
    """Seconds until the service says its address; it is killed then, so that it leaves no newer snapshot behind."""
    words = ["serve", str(venue), "--open", "--port", "0", "--log", "error", "--data", str(data)]
    begun = time.perf_counter()
    with rig.running([sys.executable, "-m", "roomlink", *words]) as server:
        took = time.perf_counter() - begun
        os.kill(server.pid, signal.SIGKILL)
        server.process.wait()
    return took


def opening(path: Path, venue: str) -> float:
    """Seconds to open a journal and have the state: what starting takes for the journal's sake."""
    begun = time.perf_counter()
    with closing(SqliteJournal(path, venue)) as journal:
        fold(journal, empty=State, apply=apply)
    return time.perf_counter() - begun


def replay(path: Path, venue: str, entries: int) -> tuple[float, float]:
    """Seconds an entry to read, prove and fold without a snapshot; and only to read its JSON."""
    with closing(SqliteJournal(path, venue)) as journal:
        state = State()
        begun = time.perf_counter()
        for entry in journal.entries(0, entries):
            for event in entry.events:
                apply(state, event)
        folded = time.perf_counter() - begun
    with closing(sqlite3.connect(path)) as db:
        begun = time.perf_counter()
        for (body,) in db.execute("SELECT body FROM entries WHERE seq <= ? ORDER BY seq", (entries,)):
            orjson.loads(body)
        read = time.perf_counter() - begun
    return folded / entries, read / entries


def snapshots(path: Path, venue: str, times: int) -> tuple[list[float], list[float]]:
    """Seconds to make and store a snapshot; and for a commit of one entry."""
    made, commits = [], []
    with closing(SqliteJournal(path, venue)) as journal:
        state, seq, at = fold(journal, empty=State, apply=apply)
        for _ in range(times):
            begun = time.perf_counter()
            journal.save(Snapshot(seq, at, tuple(snapshot(state))))
            made.append(time.perf_counter() - begun)
            begun = time.perf_counter()
            seq += 1
            journal.append([Entry(seq, at, "bench", "service", {"command": "Bench"}, ())])
            commits.append(time.perf_counter() - begun)
    return made, commits


def kept(path: Path, venue: str) -> tuple[float, float]:
    """Bytes in use once all level chatter was made small, and seconds that this took."""
    with closing(SqliteJournal(path, venue)) as journal:
        begun = time.perf_counter()
        while journal.compact(float("inf"), limits.COMPACT_ENTRIES_MAX):
            pass
        took = time.perf_counter() - begun
    small = path.with_name("small")
    with closing(sqlite3.connect(path)) as db:
        db.execute("VACUUM INTO ?", (str(small),))
    return float(small.stat().st_size), took


def main() -> list[Found]:
    entries, few, starts = (2_000, 500, 1) if quick() else (ENTRIES, SMALL, STARTS)
    with tempfile.TemporaryDirectory(prefix="roomlink-bench-") as made:
        scratch = Path(made)
        venue = write_venue(scratch / "venue", HARBOUR)
        name = load(venue).spec.id
        begun = time.perf_counter()
        large = fill(scratch / "large", venue, entries)
        filled = time.perf_counter() - begun
        small = fill(scratch / "small", venue, few)
        bare: list[float] = []
        took: list[float] = []
        for n in range(starts):
            bare.append(started(venue, scratch / f"new-{n}"))
            took.append(_again(venue, large))
        opened = {
            float(n): [opening(path, name) for _ in range(starts)] for n, path in ((few, small), (entries, large))
        }
        size = float(large.stat().st_size)
        folded, read = replay(large, name, min(entries, 200_000))
        snaps, commits = snapshots(small, name, 20)
        left, compacting = kept(large, name)
        each, year = size / entries, YEAR / 1e9
        what = f"from a journal of {entries:,} level events"
        return [
            Figure(f"Start to ready {what}", "s", took, "from an empty one", bare, bound=2.0),
            Figure(
                "Opening the journal and folding it, of that", "s", opened[entries], f"of {few:,} events", opened[few]
            ),
            Figure("Replay of an entry without a snapshot", "us", [folded], "reading its JSON", [read]),
            Figure("A snapshot made and stored", "ms", snaps, "a commit of one entry", commits, paired=False),
            Figure("A level event in the journal", "bytes", [each]),
            Figure("The same once made small by `keep_days`", "bytes", [left / entries], "before", [each]),
            Figure("Making one small", "us", [compacting / entries], "replaying it", [folded]),
            Figure("Filling it", "us", [filled / entries]),
            Figure("Worked out: GB of a year of 30 million level events, nothing made small", "", [each * year]),
            Figure(
                "Worked out: GB of that year with `keep_days: 30`",
                "",
                [(each * 30 + left / entries * 335) / 365 * year],
            ),
        ]


def _again(venue: Path, journal: Path) -> float:
    """Start from a copy, as each start adds to the journal."""
    data = journal.parent.with_name("copy")
    data.mkdir()
    for file in journal.parent.iterdir():
        data.joinpath(file.name).write_bytes(file.read_bytes())
    took = started(venue, data)
    for file in data.iterdir():
        file.unlink()
    data.rmdir()
    return took
