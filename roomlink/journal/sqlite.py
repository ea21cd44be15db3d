"""The journal of one machine: an SQLite file with a write-ahead log, each commit flushed to the disk.

What SQLite itself can no longer read is saved into a new file, and the old one kept beside it.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any
from uuid import uuid4

from roomlink.core.events import Entry
from roomlink.errors import JournalDamaged, JournalFailed
from roomlink.journal import files
from roomlink.journal.compaction import runs
from roomlink.journal.database import connect, create, is_damage, readable
from roomlink.journal.head import Head
from roomlink.journal.layout import (
    ADD_ENTRY,
    ADD_SNAPSHOT,
    ANY,
    COMPACTED,
    CUT,
    ENTRIES_BETWEEN,
    IDENTITY,
    NEWEST,
    SET_COMPACTED,
    SET_IDENTITY,
    SUM_AT,
)
from roomlink.journal.past import Past
from roomlink.journal.port import Snapshot
from roomlink.journal.rows import START, Row, Stored, follows, rows_of, stored_of, surplus
from roomlink.journal.salvage import salvage


class _Unreadable(JournalDamaged):
    """SQLite itself reports a broken page."""


class SqliteJournal:
    """``Journal`` in the file ``path``, for the venue with the id ``venue``.

    Opening makes the file if there is none, checks it from the newest whole snapshot on, and repairs what can be
    repaired without guessing: read ``notices`` afterwards and show them to the operator. Raises ``JournalDamaged``,
    having changed nothing, for a file that is not this venue's journal or that a newer version wrote; ``JournalHeld``
    if another service holds it.

    An entry answered with ``JournalFailed`` can come back after a restart in one case only: the disk kept it, failed
    the flush, and the process ended before the next ``append``.
    """

    def __init__(self, path: Path, venue: str) -> None:
        self.identity = ""
        self.notices: list[str] = []
        self._path, self._venue = path, venue
        self._last_seq, self._last_sum = 0, START
        self._doubt = self._lost_end = False
        self._reading = threading.Lock()
        self._connections: list[sqlite3.Connection] = []
        self._past = Past(self._read, path, self.notices)
        self._head: Head | None = None
        files.refuse_foreign(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        self._lock: files.Lock | None = files.Lock(path)
        try:
            self._start()
        except sqlite3.Error as error:
            self.close()
            raise JournalDamaged(
                f"the journal {path} cannot be opened: {error}; see that the disk is there, writable and not full"
            ) from error
        except BaseException:
            self.close()
            raise

    # ---- opening

    def _start(self) -> None:
        self._head = Head(self._path)
        if not self._path.exists() or not self._path.stat().st_size:
            self._begin_anew()
        try:
            self._refuse_other_venue()
            self._look_for_lost_end()
            self._take()
        except (sqlite3.DatabaseError, _Unreadable, UnicodeDecodeError) as error:
            # Unicode: the module cannot even tell SQLite's complaint about a schema of random bytes.
            if isinstance(error, sqlite3.Error) and not is_damage(error):
                raise
            self._disconnect()
            self._salvage(error)
            self._take()

    def _begin_anew(self) -> None:
        new = files.beside(self._path, ".new")
        with closing(create(new, self._venue)):
            pass
        kept = files.free_name(self._path)
        if self._path.exists() or files.beside(self._path, "-wal").exists():
            self.notices.append(
                f"The journal {self._path.name} was empty; a new one begins, and what was there is kept as {kept.name}."
            )
        files.replace(self._path, new, kept)

    def _salvage(self, why: Exception) -> None:
        """Put a new file with all that can be read in the place of a broken one."""
        new, kept = files.beside(self._path, ".new"), files.free_name(self._path)
        # Opened to be written, so that closing it brings the log into the file that is kept.
        with closing(create(new, self._venue)) as fresh, closing(sqlite3.connect(self._path)) as old:
            # Without this SQLite reads nothing at all of a file that is shorter than it should be.
            old.execute("PRAGMA writable_schema = ON")
            fresh.execute("BEGIN")
            saved = salvage(partial(readable, old), fresh.execute)
            fresh.execute("COMMIT")
        files.replace(self._path, new, kept)
        self.notices.append(
            f"{self._path.name} was damaged ({why}): {saved}. The old file is kept as {kept.name}. "
            "Look at what was done since, or restore a backup that is whole."
        )

    def _refuse_other_venue(self) -> None:
        # A reader does not write the log back when it closes: another venue's journal stays as it is.
        with closing(connect(self._path, read_only=True)) as db:
            found = db.execute("SELECT value FROM meta WHERE key = 'venue'").fetchone()
        if not found or not isinstance(found[0], bytes):
            raise _Unreadable("it does not say of which venue it is")
        name = found[0].decode("utf-8", "replace")
        if name != self._venue:
            raise JournalDamaged(
                f"{self._path} is the journal of the venue {name!r}, not of {self._venue!r}, and was left alone; "
                "name another data folder, or open the venue that it belongs to"
            )

    def _look_for_lost_end(self) -> None:
        """Keep the files as they are, and say so, if less is in them than was acknowledged."""
        with closing(connect(self._path, read_only=True)) as db:
            found = db.execute(IDENTITY).fetchone()
            last = db.execute(NEWEST).fetchone()[0] or 0
        known = self._head.last_seq(found[0].decode()) if self._head and found else 0
        if known <= last:
            return
        kept = files.free_name(self._path)
        try:
            files.keep_copy(self._path, kept)
        except OSError as error:
            raise JournalDamaged(
                f"the end of {self._path} is lost, and there is no room to keep the files as they are ({error}); "
                "make room, or copy the data folder elsewhere and empty this one"
            ) from error
        self._lost_end = True
        self.notices.append(
            f"Entries {last + 1} to {known} were acknowledged and are no longer in {self._path.name}: its write-ahead "
            f"log is damaged or was taken away. The venue stands as after entry {last}; look at what was done since, "
            f"or restore a newer backup. The files are kept as {kept.name}."
        )

    def _take(self) -> None:
        """Connect, and learn where the chain ends; what does not hang together from there is cut off."""
        self._writer = connect(self._path)
        self._connections.append(self._writer)
        mode = self._writer.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != b"wal":
            raise JournalDamaged(
                f"{self._path} lies where no write-ahead log can be kept; use a folder on a local disk"
            )
        self._reader = connect(self._path, read_only=True)
        self._connections.append(self._reader)
        base = next(self._past.whole_snapshots(ANY, ANY), None)
        seq, total = (base.seq, base.chain) if base else (0, START)
        self._check_base(base)
        rows = self._writer.execute(ENTRIES_BETWEEN, (seq, ANY))
        for row in rows:
            if not follows(row, seq + 1, total):
                rows.close()
                self._cut(seq + 1)
                break
            seq, total = row[0], row[3]
        self._last_seq, self._last_sum = seq, total
        self._identify()
        self._raise_schema()
        self._try_writing()
        self._note()

    def _identify(self) -> None:
        found = self._writer.execute(IDENTITY).fetchone()
        if found is None or self._lost_end:  # other entries will have the positions that were lost
            found = (uuid4().hex.encode(),)
            self._writer.execute(SET_IDENTITY, (found[0].decode(),))
        self.identity = found[0].decode()

    def _raise_schema(self) -> None:
        """So that an older version leaves the file alone; it reads the header without the log."""
        if self._writer.execute("PRAGMA user_version").fetchone()[0] < files.SCHEMA:
            self._writer.execute(f"PRAGMA user_version = {files.SCHEMA}")
            self._writer.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _note(self) -> None:
        if self._head is not None:
            self._head.write(self.identity, self._last_seq)

    def _try_writing(self) -> None:
        """Touch every page that an append will, and write nothing: a broken one must show now, not on each append."""
        self._writer.execute("BEGIN IMMEDIATE")
        self._writer.execute(ADD_ENTRY, (self._last_seq + 1, float("inf"), b"", b""))
        self._writer.execute("ROLLBACK")

    def _check_base(self, base: Stored | None) -> None:
        if base and self._writer.execute(SUM_AT, (base.seq,)).fetchone() != (base.chain,):
            self.notices.append(
                f"Entry {base.seq} is damaged or missing, but a whole snapshot of the state after it is there: the "
                "present state is complete, the history before it is not. Restore the history from a backup."
            )

    def _cut(self, seq: int) -> None:
        """Move everything from ``seq`` on into ``damaged``."""
        now = datetime.now(UTC).isoformat(timespec="seconds")
        db = self._writer
        # Moving rows in a file whose pages are in disorder could cost whole ones: such a file is left as it is.
        found = db.execute("PRAGMA integrity_check (1)").fetchone()[0]
        if found != b"ok":
            raise _Unreadable(found.decode("utf-8", "replace"))
        db.execute("BEGIN IMMEDIATE")
        db.execute(CUT, (now, seq))
        count = db.execute("DELETE FROM entries WHERE seq >= ?", (seq,)).rowcount
        # Other entries will have these positions.
        db.execute(SET_IDENTITY, (uuid4().hex,))
        db.execute("COMMIT")
        self.notices.append(
            f"Entry {seq} is damaged or missing: the venue stands as after entry {seq - 1}, and the {count} entries "
            f"found from there on were moved to the table 'damaged' of {self._path.name}; nothing of them counts. Look "
            "at what was done since, or restore a backup that has them."
        )

    # ---- writing

    @property
    def last_seq(self) -> int:
        return self._last_seq

    def append(self, entries: Sequence[Entry]) -> None:
        rows = rows_of(entries, self._last_seq, self._last_sum)
        if not rows:
            return
        db = self._writer
        try:
            self._settle()
            if len(rows) == 1:
                db.execute(ADD_ENTRY, rows[0])  # a transaction of its own, in one statement: the press that waits alone
            else:
                db.execute("BEGIN IMMEDIATE")
                db.executemany(ADD_ENTRY, rows)
                db.execute("COMMIT")
        except sqlite3.Error as error:
            if not self._landed(rows[-1]):
                raise JournalFailed(
                    f"the journal {self._path} could not be written: {error}; make room or see to the disk"
                ) from error
        self._last_seq, self._last_sum = rows[-1][0], rows[-1][3]
        self._note()

    def _settle(self) -> None:
        """After an error whose outcome could not be read: take back what may be there, as it was answered so."""
        if self._writer.in_transaction:
            self._writer.execute("ROLLBACK")
        if self._doubt:
            self._writer.execute("DELETE FROM entries WHERE seq > ?", (self._last_seq,))
            self._doubt = False

    def _landed(self, row: Row) -> bool:
        """Whether a batch that ends in ``row`` is in the file although its commit raised."""
        try:
            if self._writer.in_transaction:
                self._writer.execute("ROLLBACK")
            found = self._writer.execute(SUM_AT, (row[0],)).fetchone()
        except sqlite3.Error:
            self._doubt = True
            return False
        return bool(found == (row[3],))

    def save(self, snapshot: Snapshot) -> None:
        db = self._writer
        try:
            self._settle()
            found = db.execute(SUM_AT, (snapshot.seq,)).fetchone()
            if snapshot.seq == self._last_seq > 0:
                found = (self._last_sum,)  # its entry can be missing where an older snapshot stood in for it
            if found is None:
                raise ValueError(f"a snapshot of entry {snapshot.seq} was given, which is not in the journal")
            stored = stored_of(snapshot, found[0])
            db.execute("BEGIN IMMEDIATE")
            db.execute(ADD_SNAPSHOT, stored)
            taken = db.execute("SELECT seq, at FROM snapshots ORDER BY seq DESC").fetchall()
            db.executemany("DELETE FROM snapshots WHERE seq = ?", [(seq,) for seq in surplus(taken)])
            db.execute("COMMIT")
        except sqlite3.Error as error:
            with suppress(sqlite3.Error):
                if db.in_transaction:
                    db.execute("ROLLBACK")
            raise JournalFailed(f"a snapshot could not be written to {self._path}: {error}") from error

    def compact(self, older: float, most: int) -> bool:
        db = self._writer
        try:
            self._settle()
            known = db.execute(COMPACTED).fetchone()
            start = int(known[0]) if known else 0
            rows = db.execute(f"{ENTRIES_BETWEEN} LIMIT ?", (start, self._last_seq, most)).fetchall()
            total = db.execute(SUM_AT, (start,)).fetchone() if start else (START,)
            ends = [seq for (seq,) in db.execute("SELECT seq FROM snapshots WHERE seq > ?", (start,))]
            found, upto, _ = runs(rows, total[0] if total else b"", older, ends)
            if not upto:
                return False
            db.execute("BEGIN IMMEDIATE")
            for run in found:
                db.execute("DELETE FROM entries WHERE seq BETWEEN ? AND ?", (run.first, run.row[0]))
                db.execute(ADD_ENTRY, run.row)
            db.execute(SET_COMPACTED, (str(upto),))
            db.execute("COMMIT")
        except sqlite3.Error as error:
            with suppress(sqlite3.Error):
                if db.in_transaction:
                    db.execute("ROLLBACK")
            raise JournalFailed(f"old entries in {self._path} could not be made small: {error}") from error
        return len(rows) == most and upto == rows[-1][0]

    # ---- reading

    def _read(self, sql: str, *values: Any) -> list[Any]:
        with self._reading:
            try:
                return self._reader.execute(sql, values).fetchall()
            except sqlite3.Error as error:
                if is_damage(error):
                    raise _Unreadable(
                        f"a part of {self._path} cannot be read ({error}); restore it from a backup to read that part"
                    ) from error
                raise JournalFailed(f"the journal {self._path} could not be read: {error}") from error

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        # Not past what is acknowledged: after a failed flush more may lie in the file for a while.
        last = self._last_seq if upto is None else min(upto, self._last_seq)
        return self._past.entries(max(after, 0), last)

    def seq_at(self, at: float) -> int:
        return self._past.seq_at(at, self._last_seq)

    def thinned(self, at: float) -> tuple[float, float] | None:
        return self._past.thinned(at, self._last_seq)

    def snapshot_before(self, at: float | None = None, upto: int | None = None) -> Snapshot | None:
        return self._past.snapshot(ANY if at is None else at, ANY if upto is None else upto)

    # ---- closing

    def _disconnect(self) -> None:
        with self._reading:
            # The reader first: the last to close, and able to, writes the log back into the file.
            while self._connections:
                with suppress(sqlite3.Error):
                    self._connections.pop().close()

    def close(self) -> None:
        if self._lock is not None:
            self._disconnect()
            if self._head is not None:
                self._head.close()
            self._lock.release()
            self._lock = None
