"""``journal.compaction``: old level chatter becomes small, and nothing else changes."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from roomlink.core import events as ev
from roomlink.core.apply import apply
from roomlink.core.events import Entry, Event
from roomlink.core.records import Choice, Hold, Level
from roomlink.core.snapshot import snapshot
from roomlink.core.state import State
from roomlink.errors import JournalDamaged
from roomlink.journal.backup import broken
from roomlink.journal.compaction import is_chatter, merged
from roomlink.journal.port import Compacting, Snapshot
from roomlink.journal.recovery import fold
from roomlink.journal.sqlite import SqliteJournal

VENUE = "harbour"
ZONES = ("heron", "plover", "tern")


def level(zone: str, to: float, at: float) -> ev.ControlSet:
    return ev.ControlSet(zone, "volume", Level(-30.0, to, at, 0.0, by="heron-wall"))


def entry(seq: int, *events: Event, command: str = "Act") -> Entry:
    return Entry(seq, float(seq), "heron-wall", "panel", {"command": command}, events, "127.0.0.1")


def story(seed: int, count: int) -> list[Entry]:
    """Mostly levels, held and set, with other things in between."""
    dice = random.Random(seed)
    found: list[Entry] = []
    held: list[str] = []
    for seq in range(1, count + 1):
        zone = dice.choice(ZONES)
        act: list[Event] = [level(zone, float(dice.randint(-60, 0)), float(seq))]
        kind = dice.random()
        if kind < 0.12:
            found.append(entry(seq, ev.ControlSet(zone, "program", Choice("laptop")), *act))
            continue
        if kind < 0.16:
            found.append(entry(seq, ev.AlarmRaised(f"a{seq}", float(seq), "text"), command="ReportTrouble"))
            continue
        if kind < 0.4:
            name = f"socket-{seq}/volume"
            now = Hold(name.partition("/")[0], "heron-wall", "volume", "raise", (zone, "tern"), 0.0)
            act.append(ev.HoldBegan(name, now))
            held.append(name)
        elif kind < 0.7 and held:
            act.append(ev.HoldEnded(held.pop(), dice.choice([ZONES, ("tern",)]), "released"))
        elif kind < 0.8:
            act.append(ev.HandSet("heron-wall", "volume", float(seq)))
        elif kind < 0.85:
            act.append(ev.Answered(f"key-{seq}", "digest", {"seq": seq}))
        found.append(entry(seq, *act))
    return found


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[SqliteJournal]:
    with closing(SqliteJournal(tmp_path / "journal.db", VENUE)) as found:
        yield found


def compact(journal: SqliteJournal, older: float, most: int = 100) -> None:
    while journal.compact(older, most):
        pass


def told(state: State) -> list[Event]:
    """A state as events; which control was set first within a run is of no account."""
    return sorted(snapshot(state), key=repr)


def state_of(entries: list[Entry]) -> list[Event]:
    state = State()
    for one in entries:
        for event in one.events:
            apply(state, event)
    return told(state)


@pytest.mark.parametrize("seed", range(4))
def test_every_state_that_can_still_be_asked_for_is_what_it_was(tmp_path: Path, seed: int) -> None:
    """With snapshots in between, in steps of any size, and after opening the file again."""
    entries = story(seed, 200)
    dice = random.Random(seed)
    path = tmp_path / "journal.db"
    with closing(SqliteJournal(path, VENUE)) as journal:
        for first in range(0, 200, 50):
            journal.append(entries[first : first + 50])
            if dice.random() < 0.5:
                journal.save(Snapshot(first + 50, float(first + 50), tuple(state_of(entries[: first + 50]))))
        compact(journal, 150.0, dice.choice([7, 40, 1000]))
    assert broken(path) == 0
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert (journal.notices, journal.last_seq) == ([], 200)
        kept = list(journal.entries())
        assert len(kept) < 150
        assert [one for one in kept if one.at >= 150.0] == entries[149:]
        assert [one for one in entries if not is_chatter(one)] == [one for one in kept if not is_level(one)]
        for one in kept:
            state, seq, _ = fold(journal, upto=one.seq, empty=State, apply=apply)
            assert (told(state), seq) == (state_of(entries[: one.seq]), one.seq)


def is_level(one: Entry) -> bool:
    return is_chatter(one) or one.did.get("command") == "Compacted"


def test_what_is_no_chatter_is_never_touched() -> None:
    """Other controls, other events and other commands make an entry worth keeping as it was."""
    moved = level("heron", -20.0, 1.0)
    assert is_chatter(entry(1, moved))
    assert is_chatter(entry(1, moved, ev.HandSet("heron-wall", "volume", -20.0), command="Wake"))
    assert not is_chatter(entry(1, moved, command="RecallScene"))
    assert not is_chatter(entry(1, moved, ev.Noticed("something")))
    assert not is_chatter(entry(1, moved, ev.ControlSet("heron", "program", Choice("laptop"))))
    assert not is_chatter(entry(1, ev.AlarmRaised("a", 1.0, "text")))
    assert not is_chatter(entry(1, ev.Disarmed("heron.screen", "changed")))
    assert not is_chatter(entry(1))


def test_the_last_word_counts_and_what_was_let_go_is_gone() -> None:
    """One entry in the place of the last, which says for how many it stands and since when."""
    hold = Hold("socket-1", "heron-wall", "volume", "raise", ("heron",), 0.0)
    run = [
        entry(5, level("heron", -20.0, 5.0), ev.HoldBegan("socket-1/volume", hold)),
        entry(6, level("plover", -10.0, 6.0)),
        entry(7, level("heron", -25.0, 7.0), ev.HoldEnded("socket-1/volume", ("heron",), "released")),
    ]
    one = merged(run)
    assert one.events == (level("heron", -25.0, 7.0), level("plover", -10.0, 6.0))
    assert (one.seq, one.at, one.who) == (7, 7.0, "service")
    assert one.did == {"command": "Compacted", "entries": 3, "first": 5, "since": 5.0}


def test_a_time_within_is_answered_as_before_it_and_told(journal: SqliteJournal) -> None:
    """Neither a guess nor a failure: the nearest state that is known, and between which times levels are not."""
    entries = [entry(1, ev.Noticed("first")), *(entry(seq, level("heron", -seq, seq)) for seq in range(2, 9))]
    journal.append([*entries, entry(9, ev.Noticed("last"))])
    compact(journal, 100.0)
    assert isinstance(journal, Compacting)
    assert [one.seq for one in journal.entries()] == [1, 8, 9]
    assert [journal.seq_at(at) for at in (0.5, 1.5, 2.0, 7.9, 8.0, 9.0)] == [0, 1, 1, 1, 8, 9]
    assert [journal.thinned(at) for at in (1.5, 2.0, 7.9)] == [None, (2.0, 8.0), (2.0, 8.0)]
    assert [journal.thinned(at) for at in (0.5, 8.0, 9.0, 99.0)] == [None] * 4
    assert [one.seq for one in journal.entries(4)] == [8, 9]
    assert [one.seq for one in journal.entries(4, 6)] == []
    assert [one.seq for one in journal.entries(0, 6)] == [1]


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entries SET body = substr(body, 1, 120) || X'00' || substr(body, 122) WHERE seq = 8",
        "UPDATE entries SET at = 8.5 WHERE seq = 8",
        "UPDATE entries SET sum = zeroblob(16) WHERE seq = 8",
        "UPDATE entries SET body = substr(body, 1, 40) || zeroblob(8) || substr(body, 49) WHERE seq = 8",
        "DELETE FROM entries WHERE seq = 8",
        "DELETE FROM entries WHERE seq = 1",
    ],
)
def test_damage_to_a_small_entry_is_found_like_any_other(tmp_path: Path, sql: str) -> None:
    """Its seal covers its place, its stamps, both ends of the chain and what it holds."""
    path = tmp_path / "journal.db"
    with closing(SqliteJournal(path, VENUE)) as journal:
        journal.append([entry(1, ev.Noticed("first"))])
        journal.append([entry(seq, level("heron", -seq, seq)) for seq in range(2, 9)])
        journal.append([entry(9, ev.Noticed("last"))])
        compact(journal, 100.0)
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(sql)
    assert broken(path) >= 1
    with closing(SqliteJournal(path, VENUE)) as journal:
        assert journal.last_seq == (1 if "seq = 8" in sql else 0)
        assert "is damaged or missing" in " ".join(journal.notices)


def test_damage_is_not_made_small(tmp_path: Path) -> None:
    """What does not hang together stays as it is for whoever can mend it; what lies behind it becomes small."""
    path = tmp_path / "journal.db"
    entries = [entry(seq, level("heron", -seq, seq)) for seq in range(1, 41)]
    with closing(SqliteJournal(path, VENUE)) as journal:
        journal.append(entries)
        journal.save(Snapshot(40, 40.0, tuple(state_of(entries))))
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE entries SET body = zeroblob(9) WHERE seq = 10")
    with closing(SqliteJournal(path, VENUE)) as journal:
        compact(journal, 100.0, 15)
        with closing(sqlite3.connect(path)) as db:
            assert [seq for (seq,) in db.execute("SELECT seq FROM entries")] == [9, 10, 15, 30, 40]
        with pytest.raises(JournalDamaged, match="entry 10 "):
            list(journal.entries())
        assert [one.seq for one in journal.entries(10)] == [15, 30, 40]


def test_the_file_does_not_grow_where_room_was_made(tmp_path: Path) -> None:
    """What was freed is used again by what comes later."""
    path = tmp_path / "journal.db"
    with closing(SqliteJournal(path, VENUE)) as journal:
        for first in range(1, 3201, 400):
            journal.append([entry(seq, level("heron", -1.0, seq)) for seq in range(first, first + 400)])
    before = path.stat().st_size
    with closing(SqliteJournal(path, VENUE)) as journal:
        compact(journal, 3200.0)
        for first in range(3201, 6001, 400):
            journal.append([entry(seq, level("heron", -1.0, seq)) for seq in range(first, first + 400)])
    assert path.stat().st_size <= before * 1.1
