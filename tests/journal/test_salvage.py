"""Salvage saves the present state first, and all the history that can be read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from roomlink.journal.layout import ADD_ENTRY, ADD_SNAPSHOT, ENTRIES_BETWEEN, SNAPSHOT_AT
from roomlink.journal.rows import START, Row, Stored, rows_of, stored_of
from roomlink.journal.salvage import Saved, salvage
from tests.contracts.journal import make_entries, make_snapshot

ROWS = rows_of(make_entries(1, 20), 0, START)


class Broken:
    """A file of twenty entries of which some cannot be read: a reading ends when it meets one."""

    def __init__(self, unreadable: set[int], *snapshots: Stored) -> None:
        self.unreadable = unreadable
        self.snapshots = snapshots
        self.entries: list[int] = []
        self.saved: list[int] = []

    def read(self, sql: str, *values: int) -> Iterator[tuple[Any, ...]]:
        if sql == ENTRIES_BETWEEN:
            return self._entries(*values)
        if sql == SNAPSHOT_AT:
            return iter([stored for stored in self.snapshots if stored.seq == values[0]])
        return iter([(stored.seq,) for stored in self.snapshots])

    def _entries(self, after: int, upto: int) -> Iterator[Row]:
        for row in ROWS[after : min(upto, len(ROWS))]:
            if row[0] in self.unreadable:
                return
            yield row

    def write(self, sql: str, row: tuple[Any, ...]) -> None:
        {ADD_ENTRY: self.entries, ADD_SNAPSHOT: self.saved}[sql].append(row[0])


def snapshot(seq: int) -> Stored:
    return stored_of(make_snapshot(seq), ROWS[seq - 1][3])


@pytest.mark.parametrize(
    ("unreadable", "snapshots", "entries", "outcome"),
    [
        (set(), [], range(1, 21), Saved(20, 20, 0, 0)),
        ({8}, [], range(1, 8), Saved(7, 7, 0, 0)),
        ({1}, [], [], Saved(0, 0, 0, 0)),
        ({3, 4, 8}, [10], [1, 2, 5, 6, 7, *range(9, 21)], Saved(20, 17, 10, 3)),
        ({10, 15}, [5, 10], [*range(1, 10), *range(11, 15)], Saved(14, 13, 10, 1)),
        ({20}, [20], range(1, 20), Saved(20, 19, 20, 1)),
    ],
)
def test_what_is_saved(unreadable: set[int], snapshots: list[int], entries: list[int], outcome: Saved) -> None:
    """After the newest whole snapshot up to the first unreadable entry; before it everything else."""
    broken = Broken(unreadable, *(snapshot(seq) for seq in snapshots))
    assert salvage(broken.read, broken.write) == outcome
    assert broken.entries == list(entries)
    assert sorted(broken.saved) == snapshots


def test_a_damaged_snapshot_is_no_base() -> None:
    """An older whole one is, or the beginning."""
    broken = Broken({12}, snapshot(5), snapshot(15)._replace(body=b"?"))
    assert salvage(broken.read, broken.write) == Saved(11, 11, 5, 0)
    assert broken.saved == [5]


def test_the_outcome_is_told_in_words() -> None:
    """Counts, and what is missing."""
    assert str(Saved(14, 13, 10, 1)) == (
        "13 entries were saved and the venue stands as after entry 14; "
        "1 entries of the history before entry 10 are missing"
    )
