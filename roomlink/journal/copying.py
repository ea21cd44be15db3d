"""A whole copy of a stored journal while a service writes to it, for those who only want to read."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from roomlink.errors import JournalDamaged


def consistent_copy(path: Path, to: Path) -> None:
    """Copy the journal ``path``, its write-ahead log included, as of one instant. Raises ``JournalDamaged``.

    The service that holds it goes on undisturbed. Open the copy with ``SqliteJournal``.
    """
    try:
        source = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        with closing(source), closing(sqlite3.connect(to)) as copy:
            source.backup(copy)
    except sqlite3.Error as error:
        raise JournalDamaged(f"the journal {path} cannot be copied: {error}; restore it from a backup") from error
