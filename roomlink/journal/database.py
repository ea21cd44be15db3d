"""Opening an SQLite file as this journal wants it, and telling damage from other errors."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from roomlink.journal import files
from roomlink.journal.layout import TABLES


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    uri = path.absolute().as_uri() + ("?mode=ro" if read_only else "?mode=rw")
    # isolation_level None: transactions begin where this module says so.
    db = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA synchronous = FULL")
    # Text from a damaged page must come as it is, not fail for its encoding.
    db.text_factory = bytes
    return db


def is_damage(error: sqlite3.Error) -> bool:
    # Plain SQLITE_ERROR: statements that always worked find no such table or column, so the schema is broken.
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)


def create(path: Path, venue: str) -> sqlite3.Connection:
    """A new journal file, made under the rollback log so that its header is never only in the write-ahead log."""
    files.discard(path)
    path.touch()
    db = connect(path)
    db.executescript(TABLES)
    created = datetime.now(UTC).isoformat(timespec="seconds")
    db.executemany("INSERT INTO meta VALUES (?, ?)", [("venue", venue), ("created", created)])
    return db


def readable(db: sqlite3.Connection, sql: str, *values: Any) -> Iterator[tuple[Any, ...]]:
    """Rows up to the end, or up to what cannot be read."""
    with suppress(sqlite3.Error, UnicodeDecodeError), closing(db.execute(sql, values)) as rows:
        yield from rows
