"""Journals that earlier versions left, byte for byte: they open, say the same, and go on."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from roomlink.core import view
from roomlink.core.apply import apply
from roomlink.core.events import Entry, Noticed
from roomlink.core.state import State
from roomlink.errors import JournalDamaged
from roomlink.journal import files
from roomlink.journal.backup import broken
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal

STORED = Path(__file__).with_name("stored")
VENUE = "harbour"
"""Each file holds the same story: see ``stored/venue.yaml``."""


@pytest.fixture(params=sorted(path.name for path in STORED.glob("*.db")))
def path(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A copy of a stored journal, as the data folder of this version."""
    found = tmp_path / "journal.db"
    shutil.copyfile(STORED / request.param, found)
    return found


def folded(journal: SqliteJournal) -> State:
    state, seq, _ = fold(journal, empty=State, apply=apply)
    assert seq == journal.last_seq
    return state


def test_a_journal_of_an_earlier_version_says_what_it_said(path: Path) -> None:
    """Links, levels, choices, walls, groups and saved scenes are what they were; the file now is of this version."""
    assert schema_of(path) == 1
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert journal.notices == []
        state = folded(journal)
        seen = view.whole(state, journal.last_seq, 1e10)
    values = {zone: {c: f["value"] for c, f in z["controls"].items()} for zone, z in seen["zones"].items()}
    assert values["plover"] == {"program": "laptop", "volume": -38.0, "mute": False, "talkback": False}
    assert values["heron"]["program"] == "laptop"
    assert -24.0 < values["heron"]["volume"] < 0.0
    assert seen["partitions"]["heron-plover"]["position"] == "open"
    assert seen["groups"] == [["heron", "plover"]]
    assert state.linked["heron-wall"] == ("heron", "plover")
    assert state.scenes["supper"].content["values"] == {"volume": -40.0}
    assert schema_of(path) == files.SCHEMA
    assert broken(path) == 0


def test_a_journal_of_an_earlier_version_goes_on(path: Path) -> None:
    """With entries of this version behind the old ones, also after opening it again."""
    with closing(SqliteJournal(path, VENUE)) as journal:
        last = journal.last_seq
        old = list(journal.entries())
        new = Entry(last + 1, old[-1].at + 1.0, "alex", "http", {}, (Noticed("new"),), "10.0.0.1")
        journal.append([new])
        while journal.compact(new.at, 100):
            pass
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert journal.notices == []
        assert list(journal.entries())[-1] == new
        folded(journal)


def test_a_journal_of_a_later_version_is_left_alone(path: Path) -> None:
    """Told with what to do."""
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA user_version = {files.SCHEMA + 1}")
    before = path.read_bytes()
    with pytest.raises(JournalDamaged, match=r"newer roomlink .* and was left alone; use the newer version"):
        SqliteJournal(path, VENUE)
    assert path.read_bytes() == before


def schema_of(path: Path) -> int:
    """As an earlier version sees it: in the header, without the log."""
    return int.from_bytes(path.read_bytes()[60:64], "big")
