"""A whole copy of a stored journal while a service writes to it, for those who only want to read."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from roomlink.errors import JournalDamaged

Tell = Callable[[str, int, int], object]
"""Told what is done, how far it is, and of how much."""
PAGES_AT_ONCE = 4096


def untold(what: str, done: int, of: int) -> None:
    """Nobody wants to know."""


def consistent_copy(path: Path, to: Path, tell: Tell = untold) -> None:
    """Copy the journal ``path``, its write-ahead log included, as of one instant. Raises ``JournalDamaged``.

    The service that holds it goes on undisturbed. Open the copy with ``SqliteJournal``.
    """
    try:
        source = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        with closing(source), closing(sqlite3.connect(to)) as copy:
            # One reading for all of it: else each commit of the service would make the copy begin anew.
            source.execute("BEGIN")
            source.execute("SELECT count(*) FROM sqlite_master").fetchone()
            source.backup(
                copy,
                pages=PAGES_AT_ONCE,
                progress=lambda status, left, of: tell("copying the journal", of - left, of),
            )
    except sqlite3.Error as error:
        raise JournalDamaged(f"the journal {path} cannot be copied: {error}; restore it from a backup") from error
