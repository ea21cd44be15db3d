"""The committer shares flushes, answers in order, and refuses what was decided on a lost entry."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from queue import SimpleQueue

import pytest

from roomlink.core.events import Entry
from roomlink.errors import JournalFailed
from roomlink.journal.committer import Committer
from roomlink.journal.memory import MemoryJournal
from roomlink.journal.port import Snapshot
from roomlink.journal.sqlite import SqliteJournal
from roomlink.limits import APPEND_BATCH_ENTRIES_MAX
from tests.contracts.journal import make_entries, make_entry, make_snapshot

WAIT_S = 30.0
"""Only ever reached by a test that fails."""


class GatedJournal(MemoryJournal):
    """Each append waits for the test's word: True lets it through, False makes it fail."""

    def __init__(self) -> None:
        super().__init__()
        self.gate: SimpleQueue[bool] = SimpleQueue()
        self.waiting = threading.Semaphore(0)
        self.batches: list[int] = []

    def append(self, entries: Sequence[Entry]) -> None:
        self.waiting.release()
        if not self.gate.get(timeout=WAIT_S):
            raise JournalFailed("the disk is full")
        self.batches.append(len(entries))
        super().append(entries)


class Answers:
    """Collects what was answered, in order."""

    def __init__(self) -> None:
        self.queue: SimpleQueue[tuple[str, Exception | None]] = SimpleQueue()

    def to(self, name: str | int) -> Callable[[Exception | None], None]:
        return lambda error: self.queue.put((str(name), error))

    def take(self, count: int) -> list[tuple[str, str]]:
        taken = [self.queue.get(timeout=WAIT_S) for _ in range(count)]
        return [(name, "kept" if error is None else type(error).__name__) for name, error in taken]


@pytest.fixture
def journal() -> GatedJournal:
    return GatedJournal()


@pytest.fixture
def committer(journal: GatedJournal) -> Iterator[Committer]:
    committer = Committer(journal, lambda call: call())
    committer.start()
    yield committer
    for _ in range(100):
        journal.gate.put(True)
    committer.stop()


@pytest.fixture
def answers() -> Answers:
    return Answers()


def submit(committer: Committer, answers: Answers, first: int, last: int) -> None:
    for entry in make_entries(first, last):
        committer.submit(entry, answers.to(entry.seq))


def test_a_lone_entry_is_written_at_once(journal: GatedJournal, committer: Committer, answers: Answers) -> None:
    """Nothing else has to arrive for it."""
    submit(committer, answers, 1, 1)
    journal.gate.put(True)
    assert answers.take(1) == [("1", "kept")]
    assert journal.last_seq == 1


def test_all_that_wait_share_one_flush(journal: GatedJournal, committer: Committer, answers: Answers) -> None:
    """Entries that arrive while one is written become the next batch, answered in order."""
    submit(committer, answers, 1, 1)
    journal.waiting.acquire(timeout=WAIT_S)
    submit(committer, answers, 2, 40)
    journal.gate.put(True)
    journal.gate.put(True)
    assert answers.take(40) == [(str(seq), "kept") for seq in range(1, 41)]
    assert journal.batches == [1, 39]


def test_a_batch_has_a_limit(journal: GatedJournal, committer: Committer, answers: Answers) -> None:
    """However many wait, one flush takes no more than the limit."""
    submit(committer, answers, 1, 1)
    journal.waiting.acquire(timeout=WAIT_S)
    submit(committer, answers, 2, APPEND_BATCH_ENTRIES_MAX + 3)
    for _ in range(3):
        journal.gate.put(True)
    answers.take(APPEND_BATCH_ENTRIES_MAX + 3)
    assert journal.batches == [1, APPEND_BATCH_ENTRIES_MAX, 2]


def test_nothing_is_answered_before_it_is_durable(
    journal: GatedJournal, committer: Committer, answers: Answers
) -> None:
    """While the journal writes, no answer is out."""
    submit(committer, answers, 1, 1)
    journal.waiting.acquire(timeout=WAIT_S)
    assert answers.queue.empty()
    journal.gate.put(True)
    answers.take(1)


def test_a_failure_is_answered_to_all_that_were_decided_on_it(
    journal: GatedJournal, committer: Committer, answers: Answers
) -> None:
    """The failed batch, what waited behind it and what still arrives are lost, in order, without another try."""
    submit(committer, answers, 1, 1)
    journal.waiting.acquire(timeout=WAIT_S)
    submit(committer, answers, 2, 3)
    journal.gate.put(False)
    assert answers.take(3) == [(str(seq), "JournalFailed") for seq in (1, 2, 3)]
    submit(committer, answers, 4, 4)
    assert answers.take(1) == [("4", "JournalFailed")]
    assert journal.last_seq == 0


def test_after_resume_entries_are_written_again(journal: GatedJournal, committer: Committer, answers: Answers) -> None:
    """What was submitted before the call stays lost, what comes after it is tried."""
    submit(committer, answers, 1, 1)
    journal.gate.put(False)
    answers.take(1)
    committer.submit(make_entry(2), answers.to("stale"))
    committer.resume()
    committer.submit(make_entry(1), answers.to("fresh"))
    journal.gate.put(True)
    assert answers.take(2) == [("stale", "JournalFailed"), ("fresh", "kept")]
    assert list(journal.entries()) == [make_entry(1)]


def test_the_caller_can_resume_from_within_the_answer(journal: GatedJournal, answers: Answers) -> None:
    """A runtime that folds and submits again in its first failed answer loses nothing of the new."""

    def first(error: Exception | None) -> None:
        answers.to("first")(error)
        writer.resume()
        writer.submit(make_entry(1), answers.to("again"))

    writer = Committer(journal, lambda call: call())
    writer.submit(make_entry(1), first)
    writer.submit(make_entry(2), answers.to("second"))
    for word in (False, True):
        journal.gate.put(word)
    writer.start()
    assert answers.take(3) == [("first", "JournalFailed"), ("second", "JournalFailed"), ("again", "kept")]
    writer.stop()


def test_a_bug_in_the_caller_is_answered_and_does_not_stop_the_service(
    journal: GatedJournal, committer: Committer, answers: Answers
) -> None:
    """A wrong ``seq`` counts as a failure; after ``resume`` all goes on."""
    committer.submit(make_entry(7), answers.to("wrong"))
    journal.gate.put(True)
    assert answers.take(1) == [("wrong", "JournalFailed")]
    committer.resume()
    submit(committer, answers, 1, 1)
    journal.gate.put(True)
    assert answers.take(1) == [("1", "kept")]


def test_an_answer_that_raises_does_not_silence_the_others(journal: GatedJournal, answers: Answers) -> None:
    """The bug reaches whoever delivers, after everybody was told."""
    caught: list[BaseException] = []

    def deliver(call: Callable[[], None]) -> None:
        try:
            call()
        except ExceptionGroup as group:
            caught.extend(group.exceptions)

    def broken(_: Exception | None) -> None:
        raise KeyError("gone")

    committer = Committer(journal, deliver)
    committer.submit(make_entry(1), broken)
    committer.submit(make_entry(2), answers.to("other"))
    journal.gate.put(True)
    committer.start()
    assert answers.take(1) == [("other", "kept")]
    committer.stop()
    assert [type(error) for error in caught] == [KeyError]


def test_a_snapshot_is_made_after_the_entries_before_it(
    journal: GatedJournal, committer: Committer, answers: Answers
) -> None:
    """It is made and kept in the writing thread, between what was submitted before and after it."""
    threads: list[str] = []

    def make() -> Snapshot:
        threads.append(threading.current_thread().name)
        return make_snapshot(journal.last_seq)

    submit(committer, answers, 1, 2)
    committer.submit_snapshot(make, answers.to("snapshot"))
    submit(committer, answers, 3, 3)
    for _ in range(3):
        journal.gate.put(True)
    assert answers.take(4) == [("1", "kept"), ("2", "kept"), ("snapshot", "kept"), ("3", "kept")]
    assert journal.snapshot_before() == make_snapshot(2)
    assert threads == ["journal"]


def test_a_failed_snapshot_costs_only_itself(journal: GatedJournal, committer: Committer, answers: Answers) -> None:
    """Entries go on without ``resume``."""
    committer.submit_snapshot(lambda: make_snapshot(9), answers.to("snapshot"))
    submit(committer, answers, 1, 1)
    journal.gate.put(True)
    assert answers.take(2) == [("snapshot", "JournalFailed"), ("1", "kept")]


def test_stopping_writes_everything_that_waits(journal: GatedJournal, answers: Answers) -> None:
    """Each entry is durable and answered when ``stop`` returns; then nothing more is taken."""
    committer = Committer(journal, lambda call: call())
    submit(committer, answers, 1, 30)
    committer.submit_snapshot(lambda: make_snapshot(30), answers.to("snapshot"))
    journal.gate.put(True)
    committer.start()
    committer.stop()
    assert answers.take(31)[-1] == ("snapshot", "kept")
    assert journal.last_seq == 30
    with pytest.raises(RuntimeError, match="stopped"):
        committer.submit(make_entry(31), answers.to(31))
    committer.stop()


def test_stopping_while_halted_ends(journal: GatedJournal, answers: Answers) -> None:
    """Lost entries are answered, not waited for."""
    committer = Committer(journal, lambda call: call())
    submit(committer, answers, 1, 3)
    journal.gate.put(False)
    committer.start()
    committer.stop()
    assert answers.take(3) == [(str(seq), "JournalFailed") for seq in (1, 2, 3)]


def test_a_closed_loop_does_not_keep_entries_from_the_disk(journal: GatedJournal, answers: Answers) -> None:
    """When nobody can be answered any more, what was submitted is still written."""

    def deliver(call: Callable[[], None]) -> None:
        raise RuntimeError("Event loop is closed")

    committer = Committer(journal, deliver)
    submit(committer, answers, 1, 3)
    journal.gate.put(True)
    committer.start()
    committer.stop()
    assert journal.last_seq == 3


def test_a_thousand_entries_reach_a_real_disk(tmp_path: Path, answers: Answers) -> None:
    """The same with a file: all kept, in order, there after opening again."""
    journal = SqliteJournal(tmp_path / "journal.db", "tidewater")
    committer = Committer(journal, lambda call: call())
    committer.start()
    submit(committer, answers, 1, 1000)
    committer.stop()
    journal.close()
    assert answers.take(1000) == [(str(seq), "kept") for seq in range(1, 1001)]
    again = SqliteJournal(tmp_path / "journal.db", "tidewater")
    assert list(again.entries()) == make_entries(1, 1000)
    again.close()


def test_a_chore_comes_between_entries_and_its_failure_harms_none(journal: GatedJournal) -> None:
    """It runs in the order of submission, in the thread that alone writes."""
    answers = Answers()
    committer = Committer(journal, lambda run: run())
    committer.start()
    seen: list[str] = []

    def fail() -> None:
        raise JournalFailed("no room")

    for _ in range(2):
        journal.gate.put(True)
    committer.submit(make_entry(1), answers.to(1))
    committer.submit_chore(lambda: seen.append(threading.current_thread().name), answers.to("chore"))
    committer.submit_chore(fail, answers.to("failing"))
    committer.submit(make_entry(2), answers.to(2))
    assert answers.take(4) == [("1", "kept"), ("chore", "kept"), ("failing", "JournalFailed"), ("2", "kept")]
    assert seen == ["journal"]
    assert committer.stop() is True


def test_stopping_does_not_wait_for_a_disk_that_hangs(journal: GatedJournal) -> None:
    """Longer than it is told; what hangs can still end later."""
    answers = Answers()
    committer = Committer(journal, lambda run: run())
    committer.start()
    committer.submit(make_entry(1), answers.to(1))
    assert journal.waiting.acquire(timeout=WAIT_S)
    assert committer.stop(0.05) is False
    journal.gate.put(True)
    assert answers.take(1) == [("1", "kept")]
    assert committer.stop(WAIT_S) is True
