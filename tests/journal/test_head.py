"""``journal.head``: a lost end of the write-ahead log is noticed, and nothing else is taken for one."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from roomlink.errors import JournalDamaged
from roomlink.journal import files
from roomlink.journal.head import Head
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import make_entries, make_entry

VENUE = "tidewater"


def dead(path: Path, last: int) -> Path:
    """The files of a process that was killed with ``last`` entries, most of them in the log; gives the log."""
    with closing(SqliteJournal(path, VENUE)) as journal:
        journal.append(make_entries(1, 5))
    with closing(SqliteJournal(path, VENUE)) as journal:
        for seq in range(6, last + 1):
            journal.append([make_entry(seq)])
        content = {suffix: files.beside(path, suffix).read_bytes() for suffix in ("", "-wal", ".head")}
    for suffix, data in content.items():
        files.beside(path, suffix).write_bytes(data)
    return files.beside(path, "-wal")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


def test_a_whole_log_is_no_loss(path: Path) -> None:
    """Nothing is told, everything is there."""
    dead(path, 30)
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert (journal.notices, journal.last_seq) == ([], 30)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9])
def test_a_damaged_log_is_told_and_kept(path: Path, share: float) -> None:
    """SQLite stops at the first bad frame without a word; what lies behind it is kept for a person to look at."""
    log = dead(path, 30)
    content = bytearray(log.read_bytes())
    place = 32 + 24 + int(share * (len(content) - 32 - 24 - 4096))
    content[place] ^= 0xFF
    log.write_bytes(content)
    main = path.read_bytes()
    with closing(SqliteJournal(path, VENUE)) as journal:
        last = journal.last_seq
        assert 5 <= last < 30
        assert list(journal.entries()) == make_entries(1, last)
        [notice] = journal.notices
        assert f"Entries {last + 1} to 30 were acknowledged and are no longer in journal.db" in notice
        assert f"as after entry {last}" in notice
        assert "restore a newer backup" in notice
        [kept] = path.parent.glob("journal.db.damaged-*Z")
        assert kept.name in notice
        assert (kept.read_bytes(), files.beside(kept, "-wal").read_bytes()) == (main, bytes(content))
        journal.append([make_entry(last + 1)])
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert (journal.notices, journal.last_seq) == ([], last + 1)


def test_a_log_that_was_taken_away_is_told(path: Path) -> None:
    """As when somebody copies the file and not what belongs to it; positions that panels know mean nothing then."""
    log = dead(path, 12)
    log.unlink()
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert journal.last_seq == 5
        assert "Entries 6 to 12" in journal.notices[0]
        identity = journal.identity
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert journal.identity == identity
        assert journal.notices == []


def test_a_note_of_less_than_there_is_says_nothing(path: Path) -> None:
    """As after a power cut: the note never waits for the disk."""
    dead(path, 12)
    head = Head(path)
    with closing(SqliteJournal(path, VENUE)) as journal:
        identity = journal.identity
    head.write(identity, 7)
    assert head.last_seq(identity) == 7
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert (journal.notices, journal.last_seq) == ([], 12)
    head.close()


@pytest.mark.parametrize("content", [b"", b"short", bytes(range(48))], ids=["empty", "short", "other"])
def test_a_damaged_note_says_nothing(path: Path, content: bytes) -> None:
    """Neither does one of another journal."""
    dead(path, 9)
    files.beside(path, ".head").write_bytes(content)
    head = Head(path)
    assert head.last_seq("whatever") == 0
    head.write("a" * 32, 99)
    assert (head.last_seq("a" * 32), head.last_seq("b" * 32)) == (99, 0)
    head.close()
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert (journal.notices, journal.last_seq) == ([], 9)


def test_without_room_to_keep_the_files_nothing_is_opened(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What could still be saved by hand must not be written over."""
    dead(path, 12).unlink()

    def full(path: Path, kept: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "keep_copy", full)
    before = path.read_bytes()
    with pytest.raises(JournalDamaged, match=r"no room to keep the files as they are .* make room"):
        SqliteJournal(path, VENUE)
    assert path.read_bytes() == before
