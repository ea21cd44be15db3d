"""Chores by the clock on the wall, by APScheduler: a snapshot each hour, so that a restart has little to replay."""

from __future__ import annotations

from apscheduler.schedulers.asyncio import AsyncIOScheduler

from roomlink.runtime.writer import Writer


class Housekeeping:
    """Start it in a running event loop; stop it before the writer."""

    def __init__(self, writer: Writer) -> None:
        self._scheduler = AsyncIOScheduler(timezone="UTC")

        async def save() -> None:
            # A coroutine, so that it runs in the event loop: APScheduler gives plain functions a thread.
            writer.save_snapshot()

        # Misfires are pointless to make up for: the next hour's snapshot holds everything.
        self._scheduler.add_job(save, "interval", hours=1, coalesce=True, misfire_grace_time=None)

    def start(self) -> None:
        self._scheduler.start()

    def stop(self) -> None:
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
