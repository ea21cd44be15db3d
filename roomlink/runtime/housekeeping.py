"""Chores by the clock on the wall, by APScheduler: a snapshot each hour, and old level chatter made small."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from roomlink import limits
from roomlink.errors import JournalFailed
from roomlink.journal.port import Compacting
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")


class Housekeeping:
    """Start it in a running event loop; stop it before the writer.

    ``keep`` says after how many seconds level chatter may be made small (None: never).
    """

    def __init__(self, writer: Writer, keep: Callable[[], float | None] = lambda: None) -> None:
        self._writer, self._keep = writer, keep
        self._scheduler = AsyncIOScheduler(timezone="UTC")

        async def save() -> None:
            # A coroutine, so that it runs in the event loop: APScheduler gives plain functions a thread.
            writer.save_snapshot()

        # Misfires are pointless to make up for: the next hour's snapshot holds everything.
        self._scheduler.add_job(save, "interval", hours=1, coalesce=True, misfire_grace_time=None)
        self._scheduler.add_job(self.compact, "interval", hours=1, minutes=30, coalesce=True, misfire_grace_time=None)

    def start(self) -> None:
        self._scheduler.start()

    def stop(self) -> None:
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)

    async def compact(self) -> None:
        """Make old level chatter small, a little at a time: entries that wait for the disk come in between."""
        journal, keep = self._writer.journal, self._keep()
        if keep is None or not isinstance(journal, Compacting):
            return
        older = self._writer.clock.stamp() - keep
        try:
            more = True
            while more:
                more = await self._writer.chore(lambda: journal.compact(older, limits.COMPACT_ENTRIES_MAX))
                await asyncio.sleep(limits.COMPACT_PAUSE_S)
        except JournalFailed as error:
            log.warning("old entries stay as they are", error=str(error))
