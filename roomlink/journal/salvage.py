"""Saving what can be read of a journal whose file is broken, without guessing.

The present state comes first: the newest whole snapshot and every whole entry after it, in order, up to the first
that is not. Of the history before that snapshot everything is taken that can be read, holes or not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from roomlink.journal.layout import ADD_ENTRY, ADD_SNAPSHOT, ANY, ENTRIES_BETWEEN, SNAPSHOT_AT
from roomlink.journal.rows import START, Stored, first_of, follows

Read = Callable[..., Iterator[tuple[Any, ...]]]
"""``read(sql, *values)`` gives rows up to the end, or up to what cannot be read."""
Write = Callable[[str, tuple[Any, ...]], object]


@dataclass(frozen=True, slots=True)
class Saved:
    """What was saved: ``lost`` counts entries of the history before the snapshot ``base`` that were not."""

    last_seq: int
    entries: int
    base: int
    lost: int

    def __str__(self) -> str:
        text = f"{self.entries} entries were saved and the venue stands as after entry {self.last_seq}"
        if self.lost:
            text += f"; {self.lost} entries of the history before entry {self.base} are missing"
        return text


def salvage(read: Read, write: Write) -> Saved:
    """Copy what is whole with ``write``, which raises nothing that is the old file's fault."""
    base = _snapshots(read, write)
    seq, total = (base.seq, base.chain) if base else (0, START)
    history = _history(read, write, seq)
    lost, entries, based = seq - history, history, seq
    for row in read(ENTRIES_BETWEEN, seq, ANY):
        if not follows(row, seq + 1, total):
            break
        write(ADD_ENTRY, row)
        seq, total = row[0], row[3]
        entries += 1
    return Saved(seq, entries, based, lost)


def _snapshots(read: Read, write: Write) -> Stored | None:
    """Copy every whole snapshot; gives the newest."""
    # From both ends, so that one page that cannot be read does not hide those behind it.
    found = {row[0] for order in ("DESC", "ASC") for row in read(f"SELECT seq FROM snapshots ORDER BY seq {order}")}
    newest = None
    for seq in sorted(found, reverse=True):
        for row in read(SNAPSHOT_AT, seq):
            stored = Stored(*row)
            if stored.whole:
                write(ADD_SNAPSHOT, stored)
                newest = newest or stored
    return newest


def _history(read: Read, write: Write, base: int) -> int:
    """Copy entries up to ``base``, stepping over what cannot be read; gives for how many they stand."""
    copied = seq = 0
    while seq < base:
        for row in read(ENTRIES_BETWEEN, seq, base):
            found, at, body, total = row
            # A page in disorder may give a row twice or with the wrong types.
            if found > seq and isinstance(at, float) and isinstance(body, bytes) and isinstance(total, bytes):
                write(ADD_ENTRY, row)
                copied += found - max(first_of((found, body)), seq + 1) + 1
                seq = found
        seq += 1
    return copied
