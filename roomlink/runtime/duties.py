"""What whoever writes a venue does beside deciding: drive devices, keep to the diary, tell others, keep house.

Of several nodes only the writer does this. It begins when the venue is configured, and ends before the writer stops.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from pathlib import Path

import structlog

from roomlink.core.commands import SERVICE, StopMotion
from roomlink.drivers.registry import Registry
from roomlink.errors import RoomlinkError
from roomlink.runtime.clock_watch import ClockWatch
from roomlink.runtime.feeds import Feeds
from roomlink.runtime.housekeeping import Housekeeping
from roomlink.runtime.lag import LoopLag
from roomlink.runtime.lookout import Lookout
from roomlink.runtime.outputs import Outputs
from roomlink.runtime.schedules import Schedules
from roomlink.runtime.simulated import SimulatedWalls
from roomlink.runtime.webhooks import Webhooks
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

STOP_S = 5.0
"""How long the record that all motion stops may take; the outputs act on it at once."""


class Duties:
    """Call ``begin`` once the writer writes, ``end`` before it stops; again for each time that it leads."""

    def __init__(self, writer: Writer, registry: Registry, folder: Path, kept_s: Callable[[], float | None]) -> None:
        self._writer, self._registry, self._folder, self._kept_s = writer, registry, folder, kept_s
        self.simulated = SimulatedWalls(writer.clock, writer.surely)
        self.outputs: Outputs | None = None
        self.feeds: Feeds | None = None
        self.webhooks: Webhooks | None = None
        self.lookout = Lookout(writer)
        self._stops: list[Callable[[], object]] = []

    def begin(self, last: float, *, power_was_lost: bool) -> None:
        """``last`` is the last stamp before this start (0: there is none); what fell due since is made up for."""
        writer = self._writer
        self.outputs = Outputs(writer, self._registry, power_was_lost=power_was_lost)
        self.feeds, self.webhooks = Feeds(writer, self._folder), Webhooks(writer, self._folder)
        housekeeping, schedules, lag = Housekeeping(writer, self._kept_s), Schedules(writer), LoopLag(writer)
        watch = ClockWatch(writer)
        self._stops = [self.lookout.stop, lag.stop, watch.stop, housekeeping.stop, schedules.stop, self.simulated.stop]
        self.outputs.start()
        self.simulated.begin(writer.state)
        self.lookout.start()
        housekeeping.start()
        lag.start()
        watch.start()
        schedules.start(last)
        self.webhooks.start()
        self.feeds.start()

    async def end(self, *, may_write: bool = True) -> None:
        """What moves stops first of all. Who may write no more only stops what moves."""
        stops, self._stops = self._stops, []
        for stop in stops:
            stop()
        if not may_write and self.outputs is not None:
            await self.outputs.stop()
        if self.feeds is not None and self.webhooks is not None:
            await self.feeds.stop()
            await self.webhooks.stop()
        if self.outputs is None:
            return
        if may_write:
            with contextlib.suppress(RoomlinkError, TimeoutError):
                await asyncio.wait_for(self._writer.submit(StopMotion(SERVICE, "the service stops")), STOP_S)
        await self.outputs.stop()
