"""The chain finds what is out of place, and snapshots thin out to one a day."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from roomlink.core.events import Noticed
from roomlink.errors import JournalDamaged
from roomlink.journal.rows import (
    SNAPSHOTS_NEWEST_KEPT,
    START,
    entry_of,
    follows,
    rows_of,
    snapshot_of,
    stored_of,
    surplus,
)
from tests.contracts.journal import make_entries, make_entry, make_snapshot


def test_each_row_follows_only_the_one_before() -> None:
    """Neither from the beginning nor from another row."""
    first, second, third = rows_of(make_entries(1, 3), 0, START)
    assert follows(second, 2, first[3])
    assert not follows(second, 2, START)
    assert not follows(third, 2, first[3])


@pytest.mark.parametrize(
    "broken", [(1, None, b"", b""), (1, 1.0, "text", b""), (None, None, None, None), (1, 1.0, 5, 6)]
)
def test_any_type_in_a_damaged_row_is_borne(broken: tuple[Any, ...]) -> None:
    """It is not whole, and that is all."""
    assert not follows(broken, 1, START)


def test_an_altered_stamp_breaks_the_chain() -> None:
    """The sum covers what lies beside the body too."""
    [row] = rows_of([make_entry(1)], 0, START)
    assert not follows((1, row[1] + 1e-9, *row[2:]), 1, START)


def test_what_json_cannot_hold_is_refused() -> None:
    """The caller is told which entry."""
    with pytest.raises(ValueError, match="entry 1 is not plain JSON"):
        rows_of([replace(make_entry(1), did={"set": {1, 2}})], 0, START)
    with pytest.raises(ValueError, match="snapshot of entry 3"):
        stored_of(replace(make_snapshot(3), events=(Noticed(object()),)), START)  # type: ignore[arg-type]  # on purpose


def test_an_entry_of_a_newer_version_is_told_as_such() -> None:
    """Whole but not understood is not the same as damaged by the disk."""
    with pytest.raises(JournalDamaged, match="newer version"):
        entry_of(b'{"seq":1,"at":1,"who":"","via":"","did":{},"events":[{"type":"from-the-future"}]}')


def test_a_stored_snapshot_is_whole_until_something_changes() -> None:
    """Its sum covers the body, the place and the chain."""
    stored = stored_of(make_snapshot(5), START)
    assert stored.whole
    assert snapshot_of(stored) == make_snapshot(5)
    for change in ({"at": 6.0}, {"body": stored.body + b"x"}, {"chain": b"y"}, {"chain": None}, {"sum": None}):
        assert not stored._replace(**change).whole


def test_a_snapshot_that_is_not_understood_is_none() -> None:
    """Whoever asks takes an older one."""
    assert snapshot_of(stored_of(make_snapshot(5), START)._replace(body=b"not compressed")) is None


def test_old_snapshots_thin_out_to_the_last_of_each_day() -> None:
    """The newest ones all stay, whatever their day."""
    hour = 3600.0
    taken = [(seq, seq * hour) for seq in range(24 * 4, 0, -1)]
    gone = set(surplus(taken))
    kept = [seq for seq, _ in taken if seq not in gone]
    assert kept[:SNAPSHOTS_NEWEST_KEPT] == list(range(96, 96 - SNAPSHOTS_NEWEST_KEPT, -1))
    assert kept[SNAPSHOTS_NEWEST_KEPT:] == [71, 47, 23]
