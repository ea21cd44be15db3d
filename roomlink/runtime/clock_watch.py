"""Whether the clock of the machine is still the one that the service goes by.

Stamps go on evenly when somebody sets the clock, or when it is first set long after the machine started: what is held
or moves must not jump with it. Routines come by the clock on the wall, as people expect; bookings come by stamps. So
a clock that was set is told, with what it costs, until the service is started again.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import structlog

from roomlink import limits
from roomlink.core.commands import SERVICE, ReportTrouble
from roomlink.runtime.clock import Timer
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

ALARM = "clock"


def words(ahead_s: float) -> str:
    """What to say of a clock on the wall that is so many seconds ahead of stamps; nothing where it hardly differs."""
    if abs(ahead_s) <= limits.CLOCK_OFF_S_MAX:
        return ""
    way, come = ("forward", "late") if ahead_s > 0.0 else ("back", "early")
    return (
        f"the clock of the machine was set while the service ran, {abs(ahead_s):.0f} s {way} of what it goes by:"
        f" bookings come so much too {come} until the service is started again"
    )


class ClockWatch:
    """Looks now and then. Start it in a running event loop, stop it before the writer; ``wall`` is what people read."""

    def __init__(self, writer: Writer, wall: Callable[[], float] = time.time) -> None:
        self._writer, self._wall = writer, wall
        self._timer: Timer | None = None
        self._told = 0.0
        """How far ahead the clock was when that was told last; at the start the service tells it by itself."""

    def start(self) -> None:
        self._told = self._ahead()
        self._again()

    def stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()

    def _again(self) -> None:
        clock = self._writer.clock
        self._timer = clock.call_at(clock.stamp() + limits.CLOCK_LOOK_S, self._look)

    def _ahead(self) -> float:
        return self._wall() - self._writer.clock.stamp()

    def _look(self) -> None:
        ahead = self._ahead()
        if abs(ahead - self._told) > limits.CLOCK_OFF_S_MAX:
            self._told = ahead
            log.warning("clock", ahead_s=round(ahead, 1))
            # An alarm that stands keeps its words: what was told before is over.
            for text in dict.fromkeys(("", words(ahead))):
                self._writer.surely(ReportTrouble(SERVICE, ALARM, text))
        self._again()
