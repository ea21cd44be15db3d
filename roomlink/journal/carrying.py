"""A venue's whole journal from one place to another: from NATS into a data folder, and the other way."""

from __future__ import annotations

from itertools import islice

from roomlink.errors import BackupRefused
from roomlink.journal.copying import Tell, untold
from roomlink.journal.port import Journal
from roomlink.limits import APPEND_BATCH_ENTRIES_MAX


def carry(source: Journal, to: Journal, tell: Tell = untold) -> int:
    """Append every entry of ``source`` to the empty journal ``to``, and its newest snapshot; gives how many there are.

    Each is proved on the way, as whenever a journal is read. Raises ``BackupRefused`` where ``to`` is not empty, or old
    level changes of ``source`` were made small; ``JournalDamaged`` or ``JournalFailed`` with ``to`` left unfinished.
    """
    if to.last_seq:
        raise BackupRefused(f"there are {to.last_seq} entries already where the journal is to go: it must be empty")
    upto = source.last_seq
    snapshot = source.snapshot_before(upto=upto)
    entries = source.entries(0, upto)
    while batch := list(islice(entries, APPEND_BATCH_ENTRIES_MAX)):
        if [entry.seq for entry in batch] != list(range(to.last_seq + 1, to.last_seq + 1 + len(batch))):
            raise BackupRefused(
                "old level changes in it were made small (`keep_days`): such a journal cannot be carried"
            )
        to.append(batch)
        tell("carrying entries", to.last_seq, upto)
    if snapshot is not None:
        to.save(snapshot)
    return upto
