"""Reading a stored journal: entries along the chain, the entry of a time, whole snapshots."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from roomlink.core.events import Entry
from roomlink.errors import JournalDamaged
from roomlink.journal.layout import ANY, ENTRIES_BETWEEN, NEWEST_AT, NEXT_AFTER, SNAPSHOT_AT, SUM_AT
from roomlink.journal.port import Snapshot
from roomlink.journal.rows import START, Span, Stored, entry_of, first_of, follows, snapshot_of

READ_ENTRIES_MAX = 1000
"""Entries read at once: between two readings the log can be written back and nothing waits."""

Read = Callable[..., list[tuple[Any, ...]]]
"""``read(sql, *values)`` gives all rows. Raises JournalDamaged for a part that cannot be read, else JournalFailed."""


class Past:
    """What lies in the journal ``path``, trusted as far as its sums hold; ``notices`` tells what was passed over."""

    def __init__(self, read: Read, path: Path, notices: list[str]) -> None:
        self._read, self._path, self._notices = read, path, notices
        self._told: set[int] = set()

    def entries(self, seq: int, last: int) -> Iterator[Entry]:
        """Entries after ``seq`` up to ``last``, which must be there.

        One that stands for several comes in the place of the last of them, also where ``seq`` lies among them.
        """
        # A snapshot vouches for the chain as well as its entry does, and may be the one that is whole.
        known = self._read(f"{SUM_AT} UNION SELECT chain FROM snapshots WHERE seq = ?", seq, seq) if seq else [(START,)]
        trusted = {row[0] for row in known if isinstance(row[0], bytes)} or {START}
        while seq < last:
            rows = self._read(f"{ENTRIES_BETWEEN} LIMIT {READ_ENTRIES_MAX}", seq, last)
            if not rows and self.first_after(seq) <= seq + 1:
                return  # those up to ``last`` are told together with later ones
            for row in rows or [(None, None, None, None)]:
                seq += 1
                if not any(follows(row, seq, total) for total in trusted):
                    raise JournalDamaged(
                        f"entry {seq} in {self._path} is damaged or missing; restore it from a backup to read past it"
                    )
                seq, trusted = row[0], {row[3]}
                yield entry_of(row[2])

    def first_after(self, seq: int) -> int:
        """The first entry after ``seq`` that is there, by itself or in one that stands for it; ``ANY`` if none is."""
        found = self._read(NEXT_AFTER, seq)
        return first_of(found[0]) if found else ANY

    def seq_at(self, at: float, last: int) -> int:
        """The newest entry stamped at or before ``at``, if ``last`` is the newest of all."""
        found = self._read(NEWEST_AT, at, last)
        seq = int(found[0][0]) if found else 0
        end = min(self.first_after(seq) - 1, last)
        if end > seq:
            # Entries are missing right there. Only a snapshot of the last of them can tell how things stood.
            snapshot = next(self.whole_snapshots(at, end), None)
            if snapshot is None or snapshot.seq != end:
                raise JournalDamaged(
                    f"entries {seq + 1} to {end} in {self._path} are missing; restore it from a backup to look there"
                )
        return end

    def thinned(self, at: float, last: int) -> tuple[float, float] | None:
        """From when to when level changes around ``at`` are only known by what they came to."""
        found = self._read(NEXT_AFTER, self.seq_at(at, last))
        span = Span.of(found[0][1]) if found else None
        if span is None or not span.since <= at:
            return None
        return span.since, float(self._read("SELECT at FROM entries WHERE seq = ?", found[0][0])[0][0])

    def whole_snapshots(self, at: float, upto: int) -> Iterator[Stored]:
        """Newest first; a damaged one is passed over and told once."""
        for (seq,) in self._read("SELECT seq FROM snapshots WHERE at <= ? AND seq <= ? ORDER BY seq DESC", at, upto):
            with suppress(JournalDamaged):
                found = self._read(SNAPSHOT_AT, seq)
                if not found:
                    continue  # thinned out meanwhile
                stored = Stored(*found[0])
                if stored.whole:
                    yield stored
                    continue
            self._pass_over(seq, "is damaged")

    def snapshot(self, at: float, upto: int) -> Snapshot | None:
        """The newest whole one that this version understands."""
        for stored in self.whole_snapshots(at, upto):
            snapshot = snapshot_of(stored)
            if snapshot is not None:
                return snapshot
            self._pass_over(stored.seq, "is whole but was written by another version")
        return None

    def _pass_over(self, seq: int, why: str) -> None:
        if seq not in self._told:
            self._told.add(seq)
            self._notices.append(f"The snapshot of entry {seq} {why}; an older one is used instead.")
