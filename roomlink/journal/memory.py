"""A journal that ends with the process: for tests, rehearsals and dry runs."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from uuid import uuid4

from roomlink.core.events import Entry
from roomlink.journal.port import Snapshot


class MemoryJournal:
    """``Journal`` in lists. It never fails, and keeps every snapshot."""

    def __init__(self) -> None:
        self.identity = uuid4().hex
        self.notices: list[str] = []
        self._entries: list[Entry] = []
        self._snapshots: dict[int, Snapshot] = {}

    @property
    def last_seq(self) -> int:
        return len(self._entries)

    def append(self, entries: Sequence[Entry]) -> None:
        for seq, entry in enumerate(entries, self.last_seq + 1):
            if entry.seq != seq:
                raise ValueError(f"entry {entry.seq} was given where {seq} comes next")
        self._entries.extend(entries)

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        # Copied now, as the port promises: what is appended during the reading is not part of it.
        return iter(self._entries[max(after, 0) : self.last_seq if upto is None else max(upto, 0)])

    def seq_at(self, at: float) -> int:
        return bisect_right(self._entries, at, key=lambda entry: entry.at)

    def save(self, snapshot: Snapshot) -> None:
        if not 1 <= snapshot.seq <= self.last_seq:
            raise ValueError(f"a snapshot of entry {snapshot.seq} was given, and the newest entry is {self.last_seq}")
        self._snapshots[snapshot.seq] = snapshot

    def snapshot_before(self, at: float | None = None, upto: int | None = None) -> Snapshot | None:
        # Copied first: a reader may run beside the thread that saves.
        fitting = (
            snapshot
            for snapshot in list(self._snapshots.values())
            if (at is None or snapshot.at <= at) and (upto is None or snapshot.seq <= upto)
        )
        return max(fitting, key=lambda snapshot: snapshot.seq, default=None)

    def close(self) -> None:
        pass
