"""A process of its own for the tests: appends the known story to a journal, one line on its output for each entry kept.

    python -m tests.journal.appender FILE [FILE_BYTES_MAX]

With a limit on the size of files it goes on until an entry is refused, lifts the limit, and appends that one again.
"""

from __future__ import annotations

import resource
import sys
from pathlib import Path

from roomlink.errors import JournalFailed
from roomlink.journal.sqlite import SqliteJournal
from tests.contracts.journal import make_entry


def append_forever(journal: SqliteJournal) -> None:
    while True:
        seq = journal.last_seq + 1
        journal.append([make_entry(seq)])
        print(seq, flush=True)


def main(path: Path, file_bytes_max: int | None) -> None:
    journal = SqliteJournal(path, "tidewater")
    if file_bytes_max is None:
        append_forever(journal)
        return
    resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes_max, resource.RLIM_INFINITY))
    try:
        append_forever(journal)
    except JournalFailed as error:
        print("refused", journal.last_seq + 1, error, flush=True)
    try:
        journal.append([make_entry(journal.last_seq + 1)])
    except JournalFailed:
        print("refused again", flush=True)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    journal.append([make_entry(journal.last_seq + 1)])
    print(journal.last_seq, flush=True)
    journal.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
