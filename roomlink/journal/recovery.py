"""From the journal back to a state, of now or of then."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from roomlink.core.events import Event
from roomlink.journal.port import Journal

S = TypeVar("S")


def fold(
    journal: Journal,
    at: float | None = None,
    upto: int | None = None,
    *,
    empty: Callable[[], S],
    apply: Callable[[S, Event], None],
) -> tuple[S, int, float]:
    """The state after the newest entry with a stamp of at most ``at`` and a ``seq`` of at most ``upto``.

    ``empty`` makes the state of a venue that nothing happened to; ``apply`` changes it by one event. Gives the state,
    the ``seq`` of the last entry in it (0: none) and that entry's stamp (0.0: none; a snapshot's own, if it ends
    with one). Raises JournalDamaged where the history that it needs is not whole, JournalFailed if it cannot be read.
    May run beside the thread that appends.
    """
    last = journal.last_seq
    if at is not None:
        last = min(last, journal.seq_at(at))
    if upto is not None:
        last = min(last, upto)
    state, seq, stamp = empty(), 0, 0.0
    snapshot = journal.snapshot_before(at, last)
    if snapshot is not None:
        seq, stamp = snapshot.seq, snapshot.at
        for event in snapshot.events:
            apply(state, event)
    for entry in journal.entries(seq, last):
        seq, stamp = entry.seq, entry.at
        for event in entry.events:
            apply(state, event)
    return state, seq, stamp
