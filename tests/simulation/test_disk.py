"""``simulation.disk``: what it refuses, what it leaves in doubt, and what is left of it after a crash."""

from __future__ import annotations

import pytest

from roomlink.core.events import AlarmRaised, Entry
from roomlink.errors import JournalFailed
from roomlink.simulation.disk import Disk


def entry(seq: int) -> Entry:
    return Entry(seq, 10.0 + seq, "kim", "http", {"command": "Trial"}, (AlarmRaised("trial", 1.0, "it is a trial"),))


def test_what_was_appended_comes_back_equal_after_a_restart() -> None:
    """It lies there as bytes, and the journal stays the one that it was."""
    disk = Disk()
    disk.append([entry(1), entry(2)])
    identity = disk.journal.identity
    disk.open_again()
    assert list(disk.entries()) == [entry(1), entry(2)]
    assert disk.journal.identity == identity


@pytest.mark.parametrize("written", [True, False])
def test_after_an_unclear_error_all_of_it_is_there_or_nothing(written: bool) -> None:
    """As the journal's rules ask; the next append goes on from there."""
    disk = Disk()
    disk.doubt(written)
    if written:
        disk.append([entry(1), entry(2)])
    else:
        with pytest.raises(JournalFailed):
            disk.append([entry(1), entry(2)])
    assert disk.last_seq == len(disk.bodies) == (2 if written else 0)
    disk.append([entry(disk.last_seq + 1)])


def test_a_crash_keeps_whole_entries_of_what_was_being_written() -> None:
    """In order, from the first; everything before is untouched, and the disk works again."""
    disk = Disk()
    disk.append([entry(1)])
    disk.fail()
    disk.slow = True
    disk.crash([entry(2), entry(3)], 1)
    assert list(disk.entries()) == [entry(1), entry(2)]
    assert not disk.slow
    disk.append([entry(3)])
