"""What the runtime asks of a journal; one contract suite (``tests/contracts/journal.py``) holds every implementation.

Rules for implementers:

- ``append`` takes entries in order of ``seq``, without holes; it returns when they are durable, all or none.
- After ``append`` raised ``JournalFailed`` nothing of that batch is in the journal, and the journal can be asked again.
  Where that cannot be known (an ambiguous disk error) the implementation reads the tail before it raises or returns.
- ``entries`` gives exactly what was appended, equal and in order.
- A damaged tail is cut off at the last whole entry when the journal is opened, kept aside, and told in ``notices``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from roomlink.core.events import Entry, Event


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state after entry ``seq``, as events that rebuild it from nothing."""

    seq: int
    at: float
    events: tuple[Event, ...]


class Journal(Protocol):
    """All methods block and may be called from one worker thread at a time; ``last_seq`` from anywhere."""

    notices: list[str]
    """Sentences about what was found and done when the journal was opened, for the log and the operator."""

    @property
    def last_seq(self) -> int:
        """The ``seq`` of the newest durable entry; 0 when there is none."""
        ...

    def append(self, entries: Sequence[Entry]) -> None:
        """Make ``entries`` durable. Raises ``JournalFailed``: then none of them is."""
        ...

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        """Entries with ``after < seq <= upto``, in order."""
        ...

    def save(self, snapshot: Snapshot) -> None:
        """Keep a snapshot; older ones stay for ``snapshot_before``. Raises ``JournalFailed``."""
        ...

    def snapshot_before(self, at: float | None = None) -> Snapshot | None:
        """The newest whole snapshot taken at or before the stamp ``at`` (the newest of all if None).

        A damaged snapshot is passed over for an older one and told in ``notices``.
        """
        ...

    def close(self) -> None:
        """Release everything; the journal cannot be used afterwards."""
        ...
