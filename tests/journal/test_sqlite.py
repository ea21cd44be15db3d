"""The journal on disk bears damage, strangers, full disks and sudden death."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.events import Entry
from roomlink.errors import JournalDamaged, JournalFailed, JournalHeld
from roomlink.journal import files
from roomlink.journal.layout import ADD_ENTRY, ADD_SNAPSHOT
from roomlink.journal.recovery import fold
from roomlink.journal.rows import link
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import append, make_entries, make_entry, make_snapshot

VENUE = "tidewater"
ROOT = Path(__file__).parents[2]
LINES_MAX = 40

Open = Callable[[], SqliteJournal]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "journal.db"


@pytest.fixture
def open_journal(path: Path) -> Iterator[Open]:
    """Opens the journal at ``path``, closing the one opened before."""
    opened: list[SqliteJournal] = []

    def again() -> SqliteJournal:
        while opened:
            opened.pop().close()
        opened.append(SqliteJournal(path, VENUE))
        return opened[0]

    yield again
    while opened:
        opened.pop().close()


def filled(path: Path, last: int, *snapshots: int) -> None:
    """A closed journal with the known story up to ``last``."""
    with closing(SqliteJournal(path, VENUE)) as journal:
        for first in range(1, last + 1, 500):
            journal.append(make_entries(first, min(first + 499, last)))
        for seq in snapshots:
            journal.save(make_snapshot(seq))


def change(path: Path, sql: str, *values: Any) -> None:
    """Alter the file behind the journal's back."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(sql, values)


def ask(path: Path, sql: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as db:
        return db.execute(sql).fetchall()


def seqs(journal: SqliteJournal) -> list[int]:
    return [entry.seq for entry in journal.entries()]


# ---- opening and opening again


def test_everything_is_there_after_opening_again(path: Path, open_journal: Open) -> None:
    """Entries, snapshots and the place to go on."""
    filled(path, 5, 2, 4)
    journal = open_journal()
    assert list(journal.entries()) == make_entries(1, 5)
    assert journal.snapshot_before() == make_snapshot(4)
    assert journal.notices == []
    journal.append([make_entry(6)])
    assert open_journal().last_seq == 6


def test_the_identity_is_there_after_opening_again(path: Path, open_journal: Open) -> None:
    """Also in a file that an earlier version made without one, and each file has its own."""
    identity = open_journal().identity
    assert open_journal().identity == identity
    open_journal().close()
    change(path, "DELETE FROM meta WHERE key = 'identity'")
    other = open_journal().identity
    assert other.isalnum()
    assert other != identity
    assert open_journal().identity == other


def test_a_journal_that_lost_its_end_is_another(path: Path, open_journal: Open) -> None:
    """Other entries will have the positions that were cut off; history lost before a snapshot changes none."""
    filled(path, 20, 10)
    identity = open_journal().identity
    open_journal().close()
    change(path, "DELETE FROM entries WHERE seq = 5")
    assert open_journal().identity == identity
    open_journal().close()
    change(path, "DELETE FROM entries WHERE seq = 15")
    assert open_journal().identity != identity


def test_the_file_is_flushed_on_each_commit_and_logs_ahead(open_journal: Open) -> None:
    """What was acknowledged survives a power cut as far as the disk keeps its word."""
    writer = open_journal()._writer
    assert writer.execute("PRAGMA journal_mode").fetchone() == (b"wal",)
    assert writer.execute("PRAGMA synchronous").fetchone() == (2,)


def test_two_openers_cannot_have_one_file(path: Path, open_journal: Open) -> None:
    """The second is told which file and who holds it; after the first closes, it can."""
    journal = open_journal()
    with pytest.raises(
        JournalHeld, match=rf"another service \(process {os.getpid()}\) holds the journal .*journal\.db"
    ):
        SqliteJournal(path, VENUE)
    journal.close()
    SqliteJournal(path, VENUE).close()


def test_a_journal_in_another_process_is_held_too(path: Path, open_journal: Open) -> None:
    """The system lets go when that process is killed."""
    with appender(path) as process:
        assert process.stdout
        process.stdout.readline()
        with pytest.raises(JournalHeld, match="holds the journal"):
            open_journal()
        process.kill()
    assert open_journal().last_seq >= 1


# ---- what is not ours stays as it is


def untouched(path: Path, match: str) -> None:
    before = path.read_bytes()
    with pytest.raises(JournalDamaged, match=match):
        SqliteJournal(path, VENUE)
    assert path.read_bytes() == before
    assert not list(path.parent.glob("*damaged*"))


@pytest.mark.parametrize("content", [b"hello", b"SQLite format 3\x00", os.urandom(8192)])
def test_a_foreign_file_is_refused(path: Path, content: bytes) -> None:
    """It stays as it is, and the message says what to do."""
    path.parent.mkdir()
    path.write_bytes(content)
    untouched(path, "is not a journal of roomlink and was left alone; move it away")


def test_a_foreign_database_is_refused(path: Path) -> None:
    """SQLite alone is not enough."""
    path.parent.mkdir()
    change(path, "CREATE TABLE entries (seq INTEGER PRIMARY KEY)")
    untouched(path, "is not a journal of roomlink")


def test_a_folder_is_refused(path: Path) -> None:
    """It is no file."""
    path.mkdir(parents=True)
    with pytest.raises(JournalDamaged, match="not a file"):
        SqliteJournal(path, VENUE)


def test_a_newer_schema_is_refused(path: Path) -> None:
    """Only the version that wrote it knows how to go on."""
    filled(path, 1)
    change(path, f"PRAGMA user_version = {files.SCHEMA + 1}")
    untouched(path, "newer roomlink .* use the newer version")


def test_another_venue_is_refused(path: Path) -> None:
    """Its state would be nonsense here; the message names both."""
    filled(path, 1)
    before = path.read_bytes()
    with pytest.raises(JournalDamaged, match="of the venue 'tidewater', not of 'harbour'"):
        SqliteJournal(path, "harbour")
    assert path.read_bytes() == before


# ---- damaged entries


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entries SET body = zeroblob(length(body)) WHERE seq = 7",
        "UPDATE entries SET body = CAST(replace(CAST(body AS TEXT), 'heron', 'raven') AS BLOB) WHERE seq = 7",
        "UPDATE entries SET at = at + 0.5 WHERE seq = 7",
        "UPDATE entries SET sum = zeroblob(16) WHERE seq = 7",
        "UPDATE entries SET body = 'text' WHERE seq = 7",
        "UPDATE entries SET body = (SELECT body FROM entries WHERE seq = 8) WHERE seq = 7",
    ],
)
def test_an_altered_entry_ends_the_journal_before_it(path: Path, open_journal: Open, sql: str) -> None:
    """It and everything after it is kept aside as it was, told, and new entries go on from the last whole one."""
    filled(path, 10)
    change(path, sql)
    found = ask(path, "SELECT seq, at, body, sum FROM entries WHERE seq >= 7")
    journal = open_journal()
    assert journal.last_seq == 6
    assert list(journal.entries()) == make_entries(1, 6)
    assert ask(path, "SELECT seq, at, body, sum FROM damaged") == found
    [notice] = journal.notices
    assert "as after entry 6, and the 4 entries" in notice
    journal.append(make_entries(7, 8))
    again = open_journal()
    assert again.notices == []
    assert list(again.entries()) == make_entries(1, 8)


def test_a_missing_entry_ends_the_journal_before_it(path: Path, open_journal: Open) -> None:
    """What follows a hole was decided on what is lost."""
    filled(path, 10)
    change(path, "DELETE FROM entries WHERE seq = 4")
    journal = open_journal()
    assert seqs(journal) == [1, 2, 3]
    assert "Entry 4 is damaged or missing" in journal.notices[0]
    assert ask(path, "SELECT count(*) FROM damaged WHERE cut_at IS NOT NULL") == [(6,)]


def test_swapped_entries_are_found(path: Path, open_journal: Open) -> None:
    """Each is whole by itself; the chain is not."""
    filled(path, 5)
    change(path, "UPDATE entries SET seq = 99 WHERE seq = 3")
    change(path, "UPDATE entries SET seq = 3 WHERE seq = 4")
    change(path, "UPDATE entries SET seq = 4 WHERE seq = 99")
    assert seqs(open_journal()) == [1, 2]


def test_damage_behind_a_snapshot_costs_only_history(path: Path, open_journal: Open) -> None:
    """The present state is whole; reading over the damage says where it is, and the rest is there."""
    filled(path, 10, 8)
    change(path, "UPDATE entries SET body = zeroblob(9) WHERE seq = 5")
    journal = open_journal()
    assert journal.last_seq == 10
    state, seq, _ = fold(journal, empty=list, apply=append)
    assert seq == 10
    assert state[:2] == list(make_snapshot(8).events)
    reading = journal.entries()
    assert [next(reading).seq for _ in range(4)] == [1, 2, 3, 4]
    with pytest.raises(JournalDamaged, match=r"entry 5 in .* is damaged"):
        next(reading)
    assert list(journal.entries(after=8)) == make_entries(9, 10)
    assert ask(path, "SELECT count(*) FROM damaged") == [(0,)]


def test_a_snapshot_stands_in_for_lost_entries_before_it(path: Path, open_journal: Open) -> None:
    """If the newest entries are gone but a snapshot has them, the venue stands as the snapshot says, and tells so."""
    filled(path, 10, 10)
    change(path, "DELETE FROM entries WHERE seq > 7")
    journal = open_journal()
    assert journal.last_seq == 10
    assert "the present state is complete, the history before it is not" in journal.notices[0]
    assert fold(journal, empty=list, apply=append) == (list(make_snapshot(10).events), 10, 10.0)
    journal.save(make_snapshot(10))
    journal.append([make_entry(11)])
    assert list(journal.entries(10)) == [make_entry(11)]
    assert [journal.seq_at(at) for at in (6.5, 10.0, 11.0)] == [6, 10, 11]
    with pytest.raises(JournalDamaged, match=r"entries 8 to 10 .* are missing"):
        journal.seq_at(9.0)
    assert open_journal().last_seq == 11


def test_a_journal_that_lost_its_venue_is_saved(path: Path, open_journal: Open) -> None:
    """It cannot be told from another venue's, so the old file is kept and the operator told."""
    filled(path, 5)
    change(path, "DELETE FROM meta")
    journal = open_journal()
    assert list(journal.entries()) == make_entries(1, 5)
    assert "does not say of which venue it is" in journal.notices[0]
    assert len(kept(path)) == 1


def test_a_broken_schema_is_damage_too(path: Path, open_journal: Open) -> None:
    """A table under a wrong name is not there; entries are saved all the same."""
    filled(path, 5)
    change(path, "ALTER TABLE snapshots RENAME TO snapshotz")
    journal = open_journal()
    assert list(journal.entries()) == make_entries(1, 5)
    assert "was damaged" in journal.notices[0]


@pytest.mark.parametrize("column", ["body", "chain", "sum"])
def test_a_damaged_snapshot_is_passed_over(path: Path, open_journal: Open, column: str) -> None:
    """An older one and more entries give the same state; it is told once."""
    filled(path, 10, 3, 6)
    change(path, f"UPDATE snapshots SET {column} = zeroblob(16) WHERE seq = 6")
    journal = open_journal()
    assert journal.snapshot_before() == make_snapshot(3)
    assert fold(journal, empty=list, apply=append)[1] == 10
    assert journal.notices == ["The snapshot of entry 6 is damaged; an older one is used instead."]


def test_a_snapshot_of_another_version_is_passed_over(path: Path, open_journal: Open) -> None:
    """Its sum is right but it cannot be understood; the one before it can."""
    filled(path, 10, 3)
    [chain] = ask(path, "SELECT sum FROM entries WHERE seq = 6")[0]
    body = zlib.compress(b'[{"type":"from-the-future"}]')
    stored = (6, 6.0, body, chain, link(chain, 6, 6.0, body))
    change(path, ADD_SNAPSHOT, *stored)
    journal = open_journal()
    assert journal.snapshot_before() == make_snapshot(3)
    assert "was written by another version" in journal.notices[0]


def test_without_any_whole_snapshot_all_entries_count(path: Path, open_journal: Open) -> None:
    """The journal alone is enough."""
    filled(path, 6, 2, 4)
    change(path, "UPDATE snapshots SET body = zeroblob(3)")
    journal = open_journal()
    assert journal.snapshot_before() is None
    assert list(journal.entries()) == make_entries(1, 6)
    assert len(journal.notices) == 2


# ---- a damaged file


def page_of(path: Path, seq: int) -> int:
    """The file offset of the page that holds entry ``seq``."""
    body: bytes = ask(path, f"SELECT body FROM entries WHERE seq = {seq}")[0][0]
    size: int = ask(path, "PRAGMA page_size")[0][0]
    return path.read_bytes().index(body) // size * size


def overwrite(path: Path, offset: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(offset)
        file.write(data)


def kept(path: Path) -> list[Path]:
    return sorted(path.parent.glob("journal.db.damaged-*"))


def test_an_unreadable_page_is_cut_around(path: Path, open_journal: Open) -> None:
    """All whole entries before it go into a new file, in order; the old file stays beside it, unchanged."""
    filled(path, 400)
    overwrite(path, page_of(path, 250), b"\xff" * 4096)
    broken = path.read_bytes()
    journal = open_journal()
    assert 200 < journal.last_seq < 250
    assert list(journal.entries()) == make_entries(1, journal.last_seq)
    [notice] = journal.notices
    [old] = kept(path)
    assert f"{journal.last_seq} entries were saved" in notice
    assert old.name in notice
    assert old.read_bytes() == broken
    journal.append([make_entry(journal.last_seq + 1)])
    assert open_journal().notices == []


def test_a_snapshot_carries_over_an_unreadable_page_of_history(path: Path, open_journal: Open) -> None:
    """With the file broken before and after a snapshot, the state as of the last whole entry is saved all the same."""
    filled(path, 400, 200)
    for seq in (100, 300):
        overwrite(path, page_of(path, seq), b"\xff" * 4096)
    journal = open_journal()
    assert 250 < journal.last_seq < 300
    assert fold(journal, empty=list, apply=append)[1] == journal.last_seq
    assert list(journal.entries(200)) == make_entries(201, journal.last_seq)
    assert "entries of the history before entry 200 are missing" in journal.notices[0]
    assert len(list(journal.entries(upto=50))) == 50


def test_a_truncated_file_keeps_its_beginning(path: Path, open_journal: Open) -> None:
    """What lies in the part that is left is saved."""
    filled(path, 2000)
    os.truncate(path, path.stat().st_size // 2)
    journal = open_journal()
    assert journal.last_seq > 0
    assert list(journal.entries()) == make_entries(1, journal.last_seq)
    assert len(kept(path)) == 1
    assert "was damaged" in journal.notices[0]


def test_a_file_of_which_only_the_header_is_left_begins_anew(path: Path, open_journal: Open) -> None:
    """The notice says that nothing was saved, and the old file is kept."""
    filled(path, 50)
    os.truncate(path, 4096)
    journal = open_journal()
    assert journal.last_seq == 0
    assert "0 entries were saved" in journal.notices[0]
    assert len(kept(path)) == 1


def test_a_broken_index_is_made_again(path: Path, open_journal: Open) -> None:
    """It would fail every append; all entries are saved."""
    filled(path, 400)
    root = ask(path, "SELECT rootpage FROM sqlite_master WHERE name = 'entries_at'")[0][0]
    overwrite(path, (root - 1) * 4096, b"\xff" * 4096)
    journal = open_journal()
    assert journal.last_seq == 400
    assert len(kept(path)) == 1
    journal.append([make_entry(401)])
    assert journal.seq_at(400.5) == 400


@pytest.mark.parametrize("log", [b"", b"left over from another file"])
def test_an_empty_file_begins_anew_and_says_so(path: Path, open_journal: Open, log: bytes) -> None:
    """A log that lies beside it is kept, and never mixed into the new journal."""
    filled(path, 3)
    path.write_bytes(b"")
    files.beside(path, "-wal").write_bytes(log)
    journal = open_journal()
    assert journal.last_seq == 0
    assert "was empty; a new one begins" in journal.notices[0]
    assert [old.read_bytes() for old in kept(path)] == ([b"", log] if log else [b""])


def with_log(path: Path, last: int) -> bytes:
    """A journal as a dead process left it: entries in the log only. Gives the log."""
    journal = SqliteJournal(path, VENUE)
    for seq in range(1, last + 1):
        journal.append([make_entry(seq)])
    main, log = path.read_bytes(), files.beside(path, "-wal").read_bytes()
    journal.close()
    path.write_bytes(main)
    files.beside(path, "-wal").write_bytes(log)
    return log


def test_a_log_left_by_a_dead_process_counts(path: Path, open_journal: Open) -> None:
    """Nothing of it is lost."""
    with_log(path, 30)
    journal = open_journal()
    assert list(journal.entries()) == make_entries(1, 30)
    assert journal.notices == []


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
def test_a_truncated_log_gives_whole_entries_only(path: Path, open_journal: Open, share: float) -> None:
    """A write that was torn off is as if it had not been; what was before it is whole."""
    log = with_log(path, 30)
    os.truncate(files.beside(path, "-wal"), int(len(log) * share))
    journal = open_journal()
    assert 0 < journal.last_seq < 30
    assert list(journal.entries()) == make_entries(1, journal.last_seq)
    journal.append([make_entry(journal.last_seq + 1)])
    assert open_journal().notices == []


def test_an_unreadable_part_does_not_hide_the_rest_while_running(path: Path, open_journal: Open) -> None:
    """A page of old history that breaks is told to who reads there; appending goes on."""
    filled(path, 400, 400)
    overwrite(path, page_of(path, 100), b"\xff" * 4096)
    journal = open_journal()
    assert journal.notices == []
    with pytest.raises(JournalDamaged, match="cannot be read"):
        list(journal.entries())
    journal.append([make_entry(401)])
    assert list(journal.entries(400)) == [make_entry(401)]


def spoil(data: bytes, dice: random.Random) -> bytes:
    """``data`` with something wrong behind its header, as disks and people do it."""
    start = dice.choice([dice.randrange(100, 4096), dice.randrange(100, len(data))])
    length = min(dice.choice([1, 16, 512, 4096]), len(data) - start)
    return dice.choice(
        [
            data[:start],
            data[:start] + bytes(length) + data[start + length :],
            data[:start] + dice.randbytes(length) + data[start + length :],
            data[:start] + bytes([data[start] ^ 1 << dice.randrange(8)]) + data[start + 1 :],
        ]
    )


@pytest.mark.parametrize("seed", range(60))
def test_whatever_is_damaged_nothing_false_is_read(path: Path, open_journal: Open, seed: int) -> None:
    """Any damage behind the header: the journal opens, gives true entries only, or tells, and goes on."""
    filled(path, 300, 100, 200)
    path.write_bytes(spoil(path.read_bytes(), random.Random(seed)))
    journal = open_journal()
    last = journal.last_seq
    assert last == 300 or journal.notices
    assert fold(journal, empty=list, apply=append)[1] == last
    read: list[Entry] = []
    with suppress(JournalDamaged):
        read.extend(journal.entries())
    assert read == make_entries(1, len(read))
    journal.append([make_entry(last + 1)])
    assert list(journal.entries(last)) == [make_entry(last + 1)]
    assert open_journal().last_seq == last + 1


# ---- failing disks


class FailingCommit:
    """A connection whose next commits fail: after the work was done, or with the reading gone too."""

    def __init__(self, real: sqlite3.Connection, *, done: bool, blind: bool = False) -> None:
        self.real, self.done, self.blind = real, done, blind
        self.failing = True

    @property
    def in_transaction(self) -> bool:
        return self.real.in_transaction

    def execute(self, sql: str, values: Any = ()) -> Any:
        if self.failing and sql in ("COMMIT", ADD_ENTRY):  # one entry alone is its own transaction
            if self.done:
                self.real.execute(sql, values)
            self.failing = self.blind
            raise sqlite3.OperationalError("disk I/O error")
        if self.failing and self.blind and sql.startswith("SELECT"):
            self.failing = False
            raise sqlite3.OperationalError("disk I/O error")
        return self.real.execute(sql, values)

    def executemany(self, sql: str, rows: Any) -> Any:
        return self.real.executemany(sql, rows)


@pytest.mark.parametrize("count", [1, 3])
def test_a_commit_that_raised_but_landed_is_kept(open_journal: Open, count: int) -> None:
    """The tail is read before anybody is told that it failed."""
    journal = open_journal()
    journal._writer = FailingCommit(journal._writer, done=True)  # type: ignore[assignment]  # no disk fails on demand
    journal.append(make_entries(1, count))
    journal.append([make_entry(count + 1)])
    assert list(journal.entries()) == make_entries(1, count + 1)
    assert list(open_journal().entries()) == make_entries(1, count + 1)


@pytest.mark.parametrize("count", [1, 3])
def test_a_commit_that_failed_leaves_nothing(open_journal: Open, count: int) -> None:
    """The journal is as before and can be asked again."""
    journal = open_journal()
    journal._writer = FailingCommit(journal._writer, done=False)  # type: ignore[assignment]  # as above
    with pytest.raises(JournalFailed, match=r"could not be written: disk I/O error"):
        journal.append(make_entries(1, count))
    assert journal.last_seq == 0
    assert list(journal.entries()) == []
    journal.append([make_entry(1)])
    assert list(open_journal().entries()) == [make_entry(1)]


@pytest.mark.parametrize("count", [1, 3])
def test_what_was_answered_as_lost_is_taken_back(open_journal: Open, count: int) -> None:
    """If not even the tail could be read, what landed unseen does not come up later."""
    journal = open_journal()
    journal._writer = FailingCommit(journal._writer, done=True, blind=True)  # type: ignore[assignment]  # as above
    with pytest.raises(JournalFailed):
        journal.append(make_entries(1, count))
    assert list(journal.entries()) == []
    assert journal.seq_at(1e9) == 0
    other = make_entry(1, at=1.5)
    journal.append([other])
    assert list(journal.entries()) == [other]
    assert list(open_journal().entries()) == [other]


def test_a_snapshot_that_failed_leaves_the_journal_as_it_was(open_journal: Open) -> None:
    """Appending goes on."""
    journal = open_journal()
    journal.append([make_entry(1)])
    journal._writer = FailingCommit(journal._writer, done=False)  # type: ignore[assignment]  # as above
    with pytest.raises(JournalFailed, match="snapshot could not be written"):
        journal.save(make_snapshot(1))
    assert journal.snapshot_before() is None
    journal.append([make_entry(2)])
    assert journal.last_seq == 2


def appender(path: Path, *arguments: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.journal.appender", str(path), *arguments]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def test_a_full_disk_refuses_and_then_goes_on(path: Path, open_journal: Open) -> None:
    """The entry that found no room is not there; with room again it is taken, and all acknowledged ones are whole."""
    with appender(path, "300000") as process:
        output, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    *kept_lines, refused, refused_again, last = output.splitlines()
    assert refused.startswith(f"refused {len(kept_lines) + 1} the journal ")
    assert refused_again == "refused again"
    assert int(last) == len(kept_lines) + 1
    journal = open_journal()
    assert journal.notices == []
    assert list(journal.entries()) == make_entries(1, int(last))


def test_killed_twenty_times_no_acknowledged_entry_is_lost(path: Path, open_journal: Open) -> None:
    """Whenever the process dies, every entry that it reported is there, and the chain is whole."""
    for run in range(20):
        with appender(path) as process:
            assert process.stdout
            # Somewhere else in each run, so that the log is caught in many states.
            acknowledged = [int(process.stdout.readline()) for _ in range(1 + run * 7 % LINES_MAX)]
            process.kill()
            acknowledged += [int(line) for line in process.stdout.read().splitlines()]
        journal = open_journal()
        assert journal.notices == []
        assert journal.last_seq >= acknowledged[-1]
        assert list(journal.entries()) == make_entries(1, journal.last_seq)
        journal.close()
