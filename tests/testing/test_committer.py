"""``testing.committer``: the real group commit, one round at a time."""

from __future__ import annotations

from roomlink.core.events import Entry
from roomlink.journal.memory import MemoryJournal
from roomlink.testing.committer import StepCommitter
from roomlink.testing.faults import FaultyJournal


def entry(seq: int) -> Entry:
    return Entry(seq, float(seq), "kim", "http", {"command": "Trial"}, ())


def make() -> tuple[StepCommitter, FaultyJournal, list[str]]:
    journal, said = FaultyJournal(MemoryJournal()), list[str]()
    committer = StepCommitter(journal, lambda call: call())
    committer.start()
    return committer, journal, said


def put(committer: StepCommitter, said: list[str], *seqs: int) -> None:
    for seq in seqs:
        committer.submit(entry(seq), lambda error, seq=seq: said.append(f"{seq} {error}"))  # type: ignore[misc]


def test_what_waits_is_written_in_one_batch_when_told() -> None:
    """And nothing before."""
    committer, journal, said = make()
    put(committer, said, 1, 2)
    assert (journal.last_seq, said) == (0, [])
    assert committer.step()
    assert (journal.appends, journal.last_seq, said) == (1, 2, ["1 None", "2 None"])
    assert not committer.step()


def test_stopping_writes_what_waits() -> None:
    """As the service's own does."""
    committer, journal, said = make()
    put(committer, said, 1)
    committer.stop()
    assert (journal.last_seq, said) == (1, ["1 None"])


def test_a_crash_finds_what_was_on_its_way() -> None:
    """But nothing that was decided on what a failing disk did not take."""
    committer, journal, said = make()
    put(committer, said, 1, 2)
    assert [one.seq for one in committer.unwritten()] == [1, 2]
    journal.fail(1)
    put(committer, said, 1)
    committer.step()
    put(committer, said, 2)
    committer.resume()
    put(committer, said, 1)
    assert [one.seq for one in committer.unwritten()] == [1]
