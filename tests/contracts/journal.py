"""What every journal does. Inherit from ``JournalContract`` and give it a fixture ``journal`` of an empty journal."""

from __future__ import annotations

import threading

import pytest

from roomlink.core.events import AlarmRaised, Configured, ControlSet, Entry, Event, LinkEnded, Noticed
from roomlink.core.records import Level
from roomlink.journal.port import Journal, Snapshot
from roomlink.journal.recovery import fold


def make_entry(seq: int, at: float | None = None) -> Entry:
    """Entry ``seq`` of a story that is always the same; stamped ``seq`` seconds if not told otherwise."""
    now = Level(origin=-40.0, to=-30.0 + seq / 7, start=float(seq), seconds=1.5, by="heron-wall")
    return Entry(
        seq,
        float(seq) if at is None else at,
        "heron-wall",
        "panel",
        {"do": "set", "value": seq},
        (ControlSet("heron", "volume", now), Noticed(f"Entry {seq}: Größe „ß“ 🎛")),
    )


def make_entries(first: int, last: int) -> list[Entry]:
    return [make_entry(seq) for seq in range(first, last + 1)]


def make_snapshot(seq: int, at: float | None = None) -> Snapshot:
    return Snapshot(seq, float(seq) if at is None else at, (Noticed(f"all up to {seq}"), AlarmRaised("a", 1.0, "text")))


def append(state: list[Event], event: Event) -> None:
    """An ``apply`` whose state is the events themselves."""
    state.append(event)


class JournalContract:
    """Each test is a promise of ``roomlink.journal.port.Journal``."""

    def test_a_new_journal_is_empty(self, journal: Journal) -> None:
        """Nothing is in it, and nothing is told of it."""
        assert journal.last_seq == 0
        assert list(journal.entries()) == []
        assert journal.snapshot_before() is None
        assert journal.seq_at(1e12) == 0
        assert journal.notices == []

    def test_a_journal_has_an_identity_that_stays(self, journal: Journal) -> None:
        """Whoever knows a position in it can tell later whether it is still the same journal."""
        identity = journal.identity
        assert identity.isalnum()
        journal.append(make_entries(1, 3))
        journal.save(make_snapshot(3))
        assert journal.identity == identity

    def test_entries_come_back_equal_and_in_order(self, journal: Journal) -> None:
        """What was appended, one by one or many at once, is what is read."""
        journal.append([make_entry(1)])
        journal.append(make_entries(2, 6))
        assert list(journal.entries()) == make_entries(1, 6)
        assert journal.last_seq == 6

    def test_every_kind_of_data_in_an_entry_survives(self, journal: Journal) -> None:
        """Nested plain data, extreme numbers and missing values are not changed by storing."""
        data = {"deep": [{"a": None, "b": [True, 1.0, 1e-308, 2**53, "é"]}], "empty": {}}
        entry = Entry(1, 0.1 + 0.2, "service", "service", data, (Configured(data, "d"), LinkEnded("c", "z", "hand")))
        journal.append([entry])
        assert list(journal.entries()) == [entry]

    def test_an_entry_without_events_is_kept(self, journal: Journal) -> None:
        """A command that changed nothing can still be on record."""
        entry = Entry(1, 1.0, "a", "http", {}, ())
        journal.append([entry])
        assert list(journal.entries()) == [entry]

    def test_an_empty_batch_changes_nothing(self, journal: Journal) -> None:
        """Appending no entries is allowed."""
        journal.append([])
        assert journal.last_seq == 0

    @pytest.mark.parametrize("seqs", [[2], [0], [1, 3], [1, 1], [1, 2, 2], [2, 1]])
    def test_a_hole_or_a_repetition_is_refused_whole(self, journal: Journal, seqs: list[int]) -> None:
        """Entries that do not follow one another are a ValueError, and none of the batch is kept."""
        with pytest.raises(ValueError, match="comes next"):
            journal.append([make_entry(seq) for seq in seqs])
        assert journal.last_seq == 0
        journal.append([make_entry(1)])
        assert list(journal.entries()) == [make_entry(1)]

    @pytest.mark.parametrize(
        ("after", "upto", "seqs"),
        [
            (0, 3, [1, 2, 3]),
            (3, None, [4, 5]),
            (1, 2, [2]),
            (5, None, []),
            (9, None, []),
            (0, 0, []),
            (0, 99, [1, 2, 3, 4, 5]),
        ],
    )
    def test_a_part_can_be_read(self, journal: Journal, after: int, upto: int | None, seqs: list[int]) -> None:
        """``after`` is left out and ``upto`` is included; beyond the ends there is nothing."""
        journal.append(make_entries(1, 5))
        assert [entry.seq for entry in journal.entries(after, upto)] == seqs

    def test_more_entries_than_are_read_at_once_come_without_a_seam(self, journal: Journal) -> None:
        """Reading in pieces loses and repeats nothing."""
        journal.append(make_entries(1, 2500))
        assert [entry.seq for entry in journal.entries()] == list(range(1, 2501))

    def test_reading_gives_what_was_there_at_the_call(self, journal: Journal) -> None:
        """Appending during a reading is possible and is not part of it; a reading may be left unfinished."""
        journal.append(make_entries(1, 3))
        reading = journal.entries()
        assert next(reading) == make_entry(1)
        journal.append([make_entry(4)])
        assert [entry.seq for entry in reading] == [2, 3]
        next(journal.entries())
        journal.append([make_entry(5)])
        assert journal.last_seq == 5

    def test_others_read_while_one_appends(self, journal: Journal) -> None:
        """A reader in another thread always sees whole entries without a gap, and never waits for the writer."""
        seen: list[int] = []

        def read() -> None:
            while not seen or seen[-1] < 200:
                seqs = [entry.seq for entry in journal.entries()]
                assert seqs == list(range(1, len(seqs) + 1))
                seen.append(len(seqs))

        reader = threading.Thread(target=read)
        reader.start()
        for seq in range(1, 201):
            journal.append([make_entry(seq)])
        reader.join(timeout=60)
        assert not reader.is_alive()
        assert seen == sorted(seen)

    def test_the_newest_entry_at_a_time_is_found(self, journal: Journal) -> None:
        """A stamp counts from its own moment on; of several with one stamp the last counts."""
        journal.append([make_entry(seq, at) for seq, at in enumerate([10.0, 20.0, 20.0, 30.5], 1)])
        found = {at: journal.seq_at(at) for at in (9.9, 10.0, 19.9, 20.0, 30.4, 30.5, 1e12)}
        assert found == {9.9: 0, 10.0: 1, 19.9: 1, 20.0: 3, 30.4: 3, 30.5: 4, 1e12: 4}

    def test_snapshots_are_found_by_time_and_by_seq(self, journal: Journal) -> None:
        """The newest that fits both bounds is given, equal to what was saved."""
        journal.append(make_entries(1, 9))
        for seq in (2, 5, 8):
            journal.save(make_snapshot(seq))
        assert journal.snapshot_before() == make_snapshot(8)
        assert journal.snapshot_before(7.9) == make_snapshot(5)
        assert journal.snapshot_before(8.0) == make_snapshot(8)
        assert journal.snapshot_before(upto=4) == make_snapshot(2)
        assert journal.snapshot_before(100.0, 7) == make_snapshot(5)
        assert journal.snapshot_before(1.9) is None
        assert journal.snapshot_before(upto=1) is None

    def test_a_snapshot_replaces_the_one_of_the_same_entry(self, journal: Journal) -> None:
        """Saving again is no error."""
        journal.append(make_entries(1, 2))
        journal.save(make_snapshot(2))
        journal.save(make_snapshot(2, at=2.5))
        assert journal.snapshot_before() == make_snapshot(2, at=2.5)

    @pytest.mark.parametrize("seq", [0, 4])
    def test_a_snapshot_of_no_entry_is_refused(self, journal: Journal, seq: int) -> None:
        """It could not be told what comes after it."""
        journal.append(make_entries(1, 3))
        with pytest.raises(ValueError, match="snapshot"):
            journal.save(make_snapshot(seq))
        assert journal.snapshot_before() is None

    def test_the_newest_snapshots_all_stay(self, journal: Journal) -> None:
        """Whatever is thinned out, the last eight are there."""
        journal.append(make_entries(1, 20))
        for seq in range(1, 21):
            journal.save(make_snapshot(seq))
        assert [journal.snapshot_before(upto=seq) for seq in range(13, 21)] == [make_snapshot(s) for s in range(13, 21)]

    def test_a_fold_without_a_snapshot_applies_everything(self, journal: Journal) -> None:
        """From nothing, in order, to the end."""
        journal.append(make_entries(1, 4))
        state, seq, stamp = fold(journal, empty=list, apply=append)
        assert state == [event for entry in make_entries(1, 4) for event in entry.events]
        assert (seq, stamp) == (4, 4.0)

    def test_a_fold_of_an_empty_journal_is_the_empty_state(self, journal: Journal) -> None:
        """Nothing happened: seq 0, stamp 0."""
        assert fold(journal, empty=list, apply=append) == ([], 0, 0.0)

    def test_a_fold_starts_from_the_newest_snapshot(self, journal: Journal) -> None:
        """Entries that a snapshot covers are not applied again."""
        journal.append(make_entries(1, 6))
        journal.save(make_snapshot(2))
        journal.save(make_snapshot(5))
        state, seq, stamp = fold(journal, empty=list, apply=append)
        assert state == [*make_snapshot(5).events, *make_entry(6).events]
        assert (seq, stamp) == (6, 6.0)

    @pytest.mark.parametrize(
        ("at", "upto", "base", "seq"),
        [
            (4.5, None, 2, 4),
            (None, 4, 2, 4),
            (5.0, None, 5, 5),
            (6.0, 3, 2, 3),
            (0.5, None, None, 0),
            (1.0, None, None, 1),
        ],
    )
    def test_a_fold_of_the_past_stops_there(
        self, journal: Journal, at: float | None, upto: int | None, base: int | None, seq: int
    ) -> None:
        """Neither a later snapshot nor a later entry is part of it."""
        journal.append(make_entries(1, 6))
        journal.save(make_snapshot(2))
        journal.save(make_snapshot(5))
        state, last, stamp = fold(journal, at, upto, empty=list, apply=append)
        rest = [event for entry in make_entries((base or 0) + 1, seq) for event in entry.events]
        assert state == [*(make_snapshot(base).events if base else ()), *rest]
        assert (last, stamp) == (seq, float(seq))

    def test_closing_twice_is_harmless(self, journal: Journal) -> None:
        """The second time nothing happens."""
        journal.close()
        journal.close()
