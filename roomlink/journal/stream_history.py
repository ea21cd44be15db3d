"""Looking back in a journal's stream: entries by position, positions by time; each is proved against the one before."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import nats.errors
from nats.js.errors import Error as JetStreamError

from roomlink.core.events import Entry
from roomlink.errors import JournalFailed
from roomlink.journal import batches
from roomlink.journal.batches import Batch
from roomlink.journal.port import Snapshot
from roomlink.journal.rows import START, snapshot_of
from roomlink.journal.stream_reading import Reading
from roomlink.journal.stream_snapshots import Snapshots

TROUBLE = (nats.errors.Error, JetStreamError, TimeoutError, OSError)


class History:
    """What ``Journal`` promises of reading, up to a place of the stream.

    Raises ``JournalFailed`` where the servers do not answer, ``JournalDamaged`` where an entry is missing or not whole.
    """

    def __init__(self, reading: Reading, snapshots: Snapshots) -> None:
        self._reading, self._snapshots = reading, snapshots

    def entries(self, after: int, last: int, end: int) -> Iterator[Entry]:
        """Those with ``after < seq <= last``, which lie up to the place ``end``."""
        if after >= last:
            return
        seq, total = 0, START if after == 0 else None
        for one in self._settled(lambda: self._reading.place_of(after + 1, end), end):
            rows = self._reading.rows(one)
            if not rows:
                continue
            if seq == 0 and rows[0][0] <= after + 1:
                seq = rows[0][0] - 1  # where one begins in the middle, the first is believed
            for entry in batches.entries(rows, seq, total):
                if entry.seq > last:
                    return
                if entry.seq > after:
                    yield entry
            seq, total = rows[-1][0], rows[-1][3]

    def seq_at(self, at: float, end: int) -> int:
        """The newest ``seq`` whose stamp is at or before ``at``."""
        seq = 0
        # From the message before: the first that ends after ``at`` may begin after it, too.
        for one in self._settled(lambda: max(self._reading.place_at(at, end) - 1, 1), end):
            for row in self._reading.rows(one):
                if row[1] > at:
                    return seq
                seq = row[0]
            seq = max(seq, one.seq)
        return seq

    def _settled(self, first: Callable[[], int], end: int) -> Iterator[Batch]:
        try:
            yield from self._reading.settled(first(), end)
        except TROUBLE as error:
            raise JournalFailed(f"the journal could not be read: {error!r}") from error

    def snapshot_before(self, at: float | None, upto: int | None) -> Snapshot | None:
        """The newest whole one with a stamp of at most ``at`` and a ``seq`` of at most ``upto``."""
        try:
            while (found := self._snapshots.newest(at, upto)) is not None:
                snapshot = snapshot_of(found[0])
                if snapshot is not None:
                    return snapshot
                upto = found[0].seq - 1  # of another version: an older one may do
        except TROUBLE as error:
            raise JournalFailed(f"the snapshots could not be read: {error!r}") from error
        return None
