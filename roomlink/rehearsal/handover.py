"""What is handed over: a folder that opens from disk and prints, made from a configuration and a journal's records."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import roomlink
from roomlink.core.apply import apply
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.errors import JournalDamaged
from roomlink.journal import files
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal
from roomlink.rehearsal.handover_compare import Comparison, section_of
from roomlink.rehearsal.handover_model import Handover
from roomlink.rehearsal.handover_pages import page
from roomlink.rehearsal.handover_tables import as_csv, tables
from roomlink.rehearsal.survey import survey
from roomlink.venue.load import Loaded


def handover(loaded: Loaded, date: str, *, journal: State | None = None, registry: Registry | None = None) -> Handover:
    """All that goes into the documents. ``journal`` is the state that a journal ends with (``read_journal``)."""
    state = State()
    state.spec, state.digest = loaded.spec, loaded.digest
    if journal is not None:
        state.checks, state.armed = journal.checks, journal.armed
    recorded = None if journal is None else journal.digest
    return Handover(loaded, survey(loaded), state, date, roomlink.__version__, recorded, registry or Registry.of())


def documents(made: Handover, changes: Comparison | None = None) -> dict[str, str]:
    """The files by their paths: the same for the same configuration, records, date and version."""
    found = tables(made)
    index = page(made, found, "" if changes is None else section_of(changes))
    return {"index.html": index, **{f"tables/{one.name}.csv": as_csv(one) for one in found}}


def write(out: Path, found: Mapping[str, str]) -> None:
    """Write ``documents`` into a folder, which is made; other files there are left alone."""
    for name, text in found.items():
        path = out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        # Lines end as they were made: CSV has its own.
        path.write_text(text, encoding="utf-8", newline="")


def read_journal(path: Path, venue: str) -> State:
    """The state that the journal of ``venue`` ends with. The file is read and never changed.

    Raises ``JournalHeld`` while a service runs on it, ``JournalDamaged`` for what is not this venue's journal.
    """
    if not path.is_file():
        raise JournalDamaged(f"there is no journal {path.name}: name the file journal.db in the service's data folder")
    files.refuse_foreign(path)
    with tempfile.TemporaryDirectory(prefix="roomlink-handover-") as scratch:
        copy = Path(scratch) / path.name
        # A journal is put in order when it is opened; here that happens to a copy.
        lock = files.Lock(path)
        try:
            for one in (path, *path.parent.glob(f"{path.name}-wal")):
                shutil.copyfile(one, copy.with_name(one.name))
        finally:
            lock.release()
        with closing(SqliteJournal(copy, venue)) as journal:
            state, _, _ = fold(journal, empty=State, apply=apply)
    return state
