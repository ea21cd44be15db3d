"""``runtime.housekeeping``: the hourly snapshot, and old level chatter made small."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from roomlink.core.apply import apply
from roomlink.core.commands import SERVICE, Configure
from roomlink.core.snapshot import snapshot
from roomlink.core.state import State
from roomlink.errors import JournalFailed
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal
from roomlink.runtime.history import view_at
from roomlink.runtime.housekeeping import Housekeeping
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.writer import Writer
from roomlink.testing.clock import VirtualClock
from roomlink.venue.load import Loaded
from tests.runtime.conftest import volume


async def test_a_snapshot_is_due_each_hour(writer: Writer) -> None:
    """The schedule says so; starting twice or stopping before the start is no fault."""
    chores = Housekeeping(writer)
    chores.stop()
    chores.start()
    snapshot, small = chores._scheduler.get_jobs()
    assert snapshot.trigger.interval == timedelta(hours=1)
    assert small.trigger.interval == timedelta(minutes=90)
    chores.stop()


@pytest.fixture
async def stored(harbour: Loaded, clock: VirtualClock, tmp_path: Path) -> AsyncIterator[Writer]:
    """A running writer whose journal lies on the disk."""
    with closing(SqliteJournal(tmp_path / "journal.db", harbour.spec.id)) as journal:
        writer = Writer(State(), 0, journal, clock, Metrics())
        writer.start()
        await writer.submit(Configure(SERVICE, harbour.data, harbour.digest))
        yield writer
        await writer.stop()


async def test_old_level_chatter_becomes_small_and_the_rest_stays(stored: Writer, clock: VirtualClock) -> None:
    """What is younger stays as it was, orders come in between, and looking back says what is not known any more."""
    for value in range(-60, 0):
        await stored.submit(volume(value))
        clock.advance(10.0)
    until = clock.stamp()
    clock.advance(3600.0)
    await stored.submit(volume(-12))
    state = list(snapshot(stored.state))
    order = asyncio.ensure_future(stored.submit(volume(-13)))
    await Housekeeping(stored, lambda: 3000.0).compact()
    await order
    kept = list(stored.journal.entries())
    assert [entry.did["command"] for entry in kept] == ["Configure", "Compacted", "Act", "Act"]
    folded, _, _ = fold(stored.journal, upto=kept[2].seq, empty=State, apply=apply)
    assert sorted(map(repr, snapshot(folded))) == sorted(map(repr, state))
    now = clock.stamp()
    middle = await view_at(stored.journal, until - 300.0, now, stored.state)
    assert middle["zones"]["heron"]["controls"]["volume"]["value"] == -30.0
    assert middle["compacted"]["note"].startswith("level changes of that time were made small")
    later = await view_at(stored.journal, until, now, stored.state)
    assert later["zones"]["heron"]["controls"]["volume"]["value"] == -1.0
    assert "compacted" not in later


async def test_without_a_word_in_the_configuration_everything_stays(stored: Writer, clock: VirtualClock) -> None:
    """And where a journal cannot do it, nothing is done."""
    for value in (-20, -21, -22):
        await stored.submit(volume(value))
    clock.advance(1e6)
    await Housekeeping(stored).compact()
    assert len(list(stored.journal.entries())) == 4


async def test_a_journal_in_memory_is_left_alone(writer: Writer) -> None:
    """It ends long before anything in it is old."""
    await Housekeeping(writer, lambda: 0.0).compact()
    assert writer.failure is None


async def test_after_the_stop_there_are_no_chores(stored: Writer) -> None:
    """Told in the log, and no fault."""
    await stored.stop()
    await Housekeeping(stored, lambda: 0.0).compact()
    with pytest.raises(JournalFailed, match="no more chores"):
        await stored.chore(lambda: True)
