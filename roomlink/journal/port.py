"""What the runtime asks of a journal; one contract suite (``tests/contracts/journal.py``) holds every implementation.

Rules for implementers:

- ``append`` takes entries in order of ``seq``, without holes; it returns when they are durable, all or none.
- After ``append`` raised ``JournalFailed`` nothing of that batch is in the journal, and the journal can be asked again.
  Where that cannot be known (an ambiguous disk error) the implementation reads the tail before it raises or returns.
- ``entries`` gives exactly what was appended, equal and in order; what ``compact`` made small comes as one for several.
- A damaged tail is cut off at the last whole entry when the journal is opened, kept aside, and told in ``notices``.
- Damage in what a whole snapshot already covers costs history only, never the present state: nothing is cut for it,
  and whoever reads there gets ``JournalDamaged``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from roomlink.core.events import Entry, Event


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state after entry ``seq``, as events that rebuild it from nothing.

    ``at`` is the stamp of that entry, or a later one at which the state was still the same.
    """

    seq: int
    at: float
    events: tuple[Event, ...]


class Journal(Protocol):
    """All methods block. ``append`` and ``save`` belong to one thread at a time; the rest may run beside them.

    Entries and snapshots must hold plain JSON data only (no NaN, no whole numbers beyond 64 bits): the rest raises
    ``ValueError`` or would not come back equal.
    """

    identity: str
    """Tells this journal from every other one, and from itself before entries of it were cut off: a position that
    somebody knows of means the same as long as this is the same. It survives closing and opening."""
    notices: list[str]
    """Sentences about what was found and done when the journal was opened, for the log and the operator."""

    @property
    def last_seq(self) -> int:
        """The ``seq`` of the newest durable entry; 0 when there is none."""
        ...

    def append(self, entries: Sequence[Entry]) -> None:
        """Make ``entries`` durable. Raises ``JournalFailed``: then none of them is.

        The first must be ``last_seq + 1`` and each next one higher by 1; anything else is an error in the caller's
        code and raises ``ValueError`` before anything is written.
        """
        ...

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        """Entries with ``after < seq <= upto``, in order, as of the call; may be left unfinished.

        Raises ``JournalDamaged`` on reaching one that is missing or not whole; those before it are good.
        """
        ...

    def seq_at(self, at: float) -> int:
        """The newest ``seq`` whose stamp is at or before ``at``; 0 if there is none. Stamps never go back.

        Raises ``JournalDamaged`` where the entries of that time are missing, so that nobody can tell.
        """
        ...

    def save(self, snapshot: Snapshot) -> None:
        """Keep a snapshot of an entry that is in the journal, in place of any of the same ``seq``.

        Older ones stay for ``snapshot_before``, thinned out with age. Raises ``JournalFailed``, after which the
        journal is as before; ``ValueError`` if there is no such entry.
        """
        ...

    def snapshot_before(self, at: float | None = None, upto: int | None = None) -> Snapshot | None:
        """The newest whole snapshot with a stamp of at most ``at`` and a ``seq`` of at most ``upto`` (None: any).

        A damaged snapshot is passed over for an older one and told in ``notices``.
        """
        ...

    def close(self) -> None:
        """Release everything; the journal cannot be used afterwards. Closing again does nothing."""
        ...


@runtime_checkable
class Compacting(Protocol):
    """What a journal may do besides: make old level chatter small."""

    def compact(self, older: float, most: int) -> bool:
        """Make some level chatter stamped before ``older`` small (``compaction``): of ``most`` entries at once.

        It belongs to the thread of ``append``. Gives whether there may be more. Raises ``JournalFailed``, after which
        the journal is as before. States after entries that stay are what they were.
        """
        ...

    def thinned(self, at: float) -> tuple[float, float] | None:
        """Between which stamps around ``at`` only the sum of the level changes is known; None: everything is."""
        ...
