"""``journal.copying``: a whole copy of a journal that somebody else writes to."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.core.events import Entry, Noticed
from roomlink.errors import JournalDamaged
from roomlink.journal.copying import consistent_copy
from roomlink.journal.sqlite import SqliteJournal


def entry(seq: int) -> Entry:
    return Entry(seq, float(seq), "alex", "panel", {"command": "Wake"}, (Noticed(f"number {seq}"),))


def test_a_copy_holds_all_that_was_durable_and_the_journal_goes_on(tmp_path: Path) -> None:
    """The write-ahead log included; who holds the journal notices nothing."""
    journal = SqliteJournal(tmp_path / "journal.db", "trial")
    journal.append([entry(1), entry(2)])
    consistent_copy(tmp_path / "journal.db", tmp_path / "copy.db")
    journal.append([entry(3)])
    copy = SqliteJournal(tmp_path / "copy.db", "trial")
    assert list(copy.entries()) == [entry(1), entry(2)]
    assert copy.notices == []
    assert journal.last_seq == 3
    copy.close()
    journal.close()


def test_what_is_no_journal_cannot_be_copied(tmp_path: Path) -> None:
    """Told with what to do."""
    (tmp_path / "journal.db").write_bytes(b"not a database at all, whatever its name says" * 100)
    with pytest.raises(JournalDamaged, match="restore it from a backup"):
        consistent_copy(tmp_path / "journal.db", tmp_path / "copy.db")
    with pytest.raises(JournalDamaged, match="cannot be copied"):
        consistent_copy(tmp_path / "nothing.db", tmp_path / "copy.db")
