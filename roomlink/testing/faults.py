"""A journal that fails or hesitates when told, in front of a real one."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence

from roomlink.core.events import Entry
from roomlink.errors import JournalFailed
from roomlink.journal.port import Journal, Snapshot

WAIT_S_MAX = 30.0
"""A slow disk that is never told to go on fails after this long, so that no test hangs."""


class FaultyJournal:
    """``Journal`` that passes everything on to ``journal``, but for what it was told to fail or to hold back."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.identity = journal.identity
        self.notices = journal.notices
        self.appends = 0
        """How often an append was tried, failed ones included."""
        self._failures = 0.0
        self._reason = ""
        self._runs = threading.Event()
        self._runs.set()

    def fail(self, appends: float = float("inf"), reason: str = "the disk is full") -> None:
        """Let the next ``appends`` (all, by default) raise ``JournalFailed``, with nothing stored."""
        self._failures, self._reason = appends, reason

    def heal(self) -> None:
        """From now on appends succeed again."""
        self._failures = 0.0

    def pause(self) -> None:
        """A slow disk: appends take until ``go_on``."""
        self._runs.clear()

    def go_on(self) -> None:
        self._runs.set()

    @property
    def last_seq(self) -> int:
        return self.journal.last_seq

    def append(self, entries: Sequence[Entry]) -> None:
        self.appends += 1
        if not self._runs.wait(WAIT_S_MAX):
            raise JournalFailed(f"the disk did not answer for {WAIT_S_MAX:g} s")
        if self._failures > 0:
            self._failures -= 1
            raise JournalFailed(self._reason)
        self.journal.append(entries)

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        return self.journal.entries(after, upto)

    def seq_at(self, at: float) -> int:
        return self.journal.seq_at(at)

    def save(self, snapshot: Snapshot) -> None:
        self.journal.save(snapshot)

    def snapshot_before(self, at: float | None = None, upto: int | None = None) -> Snapshot | None:
        return self.journal.snapshot_before(at, upto)

    def close(self) -> None:
        self.journal.close()
