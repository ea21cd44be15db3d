"""The simulated disk under the journal: it refuses, it leaves one in doubt, it is cut off by a crash in mid-write."""

from __future__ import annotations

from collections.abc import Sequence

import orjson

from roomlink.core.events import Entry, encode_entry
from roomlink.errors import JournalFailed
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.rows import entry_of
from roomlink.testing.faults import FaultyJournal


class Disk(FaultyJournal):
    """``FaultyJournal`` that keeps bytes, as a real one does: what is read after a restart was encoded."""

    def __init__(self) -> None:
        super().__init__(MemoryJournal())
        self.bodies: list[bytes] = []
        """What lies on the disk, entry by entry."""
        self.slow = False
        """While it is, nothing that waits is written: nobody calls ``append``."""
        self._doubts: list[bool] = []

    def doubt(self, *written: bool) -> None:
        """The next appends end with an error that says nothing; the tail, once read, shows what was ``written``.

        By the port's rules nothing of it may be half: what a torn batch left is cut off before the error is raised.
        """
        self._doubts += written

    def heal(self) -> None:
        super().heal()
        self._doubts.clear()
        self.slow = False

    def append(self, entries: Sequence[Entry]) -> None:
        bodies = [orjson.dumps(encode_entry(entry)) for entry in entries]
        if self._doubts and not self._doubts.pop(0):
            raise JournalFailed("the write failed and nothing of it is there")
        super().append(entries)
        self.bodies += bodies

    def crash(self, unwritten: Sequence[Entry], kept: int) -> None:
        """The power goes: of what was on its way, the first ``kept`` entries are whole, the rest is cut off."""
        self.bodies += [orjson.dumps(encode_entry(entry)) for entry in unwritten[:kept]]
        self.open_again()

    def open_again(self) -> None:
        """What the next start of the service finds."""
        self.heal()
        before, self.journal = self.journal, MemoryJournal()
        self.journal.identity = before.identity
        self.journal.append([entry_of(body) for body in self.bodies])
        newest = before.snapshot_before(upto=len(self.bodies))
        if newest is not None:
            self.journal.save(newest)
