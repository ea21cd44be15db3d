"""The journals in memory and on disk keep the promises of the port."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Journal
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import JournalContract


class TestMemoryJournal(JournalContract):
    @pytest.fixture
    def journal(self) -> Journal:
        return MemoryJournal()


class TestSqliteJournal(JournalContract):
    @pytest.fixture
    def journal(self, tmp_path: Path) -> Iterator[Journal]:
        journal = SqliteJournal(tmp_path / "journal.db", "tidewater")
        yield journal
        journal.close()
