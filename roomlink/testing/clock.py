"""A clock that only moves when told, for tests and rehearsals."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from itertools import count

CALLS_MAX = 100_000
"""Timers that one ``advance`` calls at most."""


class VirtualTimer:
    """What ``VirtualClock.call_at`` gives; ``cancel`` before its time and it is never called."""

    def __init__(self, stamp: float, call: Callable[[], None]) -> None:
        self.stamp = stamp
        self._call: Callable[[], None] | None = call

    @property
    def waits(self) -> bool:
        """Whether it is still to be called."""
        return self._call is not None

    def cancel(self) -> None:
        self._call = None

    def fire(self) -> None:
        call, self._call = self._call, None
        if call is not None:
            call()


class VirtualClock:
    """``runtime.clock.Clock`` without time of its own: it stands still until ``advance``."""

    def __init__(self, start: float = 1_000_000.0) -> None:
        self._now = start
        self._order = count()
        self._timers: list[tuple[float, int, VirtualTimer]] = []

    def stamp(self) -> float:
        return self._now

    def call_at(self, stamp: float, call: Callable[[], None]) -> VirtualTimer:
        """Call ``call`` in the ``advance`` that reaches ``stamp``; if that has passed, in the next one."""
        timer = VirtualTimer(stamp, call)
        heapq.heappush(self._timers, (stamp, next(self._order), timer))
        return timer

    @property
    def waiting(self) -> list[float]:
        """The stamps of the timers that are still to be called, earliest first."""
        return sorted(stamp for stamp, _, timer in self._timers if timer.waits)

    @property
    def first(self) -> float | None:
        """The stamp of the first timer that is still to be called; None where nothing waits."""
        while self._timers and not self._timers[0][2].waits:
            heapq.heappop(self._timers)
        return self._timers[0][0] if self._timers else None

    def advance(self, seconds: float) -> None:
        """Let ``seconds`` pass: timers are called in order, each at its own time, also those set on the way.

        Raises ValueError for a time that would go back, RuntimeError where timers set one another without end.
        """
        if not seconds >= 0.0:
            raise ValueError(f"time only goes forward, not by {seconds!r} seconds")
        end = self._now + seconds
        for _ in range(CALLS_MAX):
            if not self._timers or self._timers[0][0] > end:
                self._now = end
                return
            stamp, _order, timer = heapq.heappop(self._timers)
            if timer.waits:
                self._now = max(self._now, stamp)
                timer.fire()
        raise RuntimeError(f"more than {CALLS_MAX} timers were called within {seconds} s: they set one another")
