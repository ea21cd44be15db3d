"""``runtime.housekeeping``: the hourly snapshot."""

from __future__ import annotations

from datetime import timedelta

from roomlink.runtime.housekeeping import Housekeeping
from roomlink.runtime.writer import Writer


async def test_a_snapshot_is_due_each_hour(writer: Writer) -> None:
    """The schedule says so; starting twice or stopping before the start is no fault."""
    chores = Housekeeping(writer)
    chores.stop()
    chores.start()
    (job,) = chores._scheduler.get_jobs()
    assert job.trigger.interval == timedelta(hours=1)
    chores.stop()
