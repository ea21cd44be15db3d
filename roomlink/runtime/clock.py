"""Stamps: seconds since 1970 that never go back and never freeze.

A stamp is an anchor plus the time since the machine started, sleep included: after a machine was suspended, stamps are
where the wall clock is. The anchor is the wall time at the start, or the journal's last stamp where
that is later, so that a clock set back while the service was down cannot reorder history.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Protocol


class Timer(Protocol):
    def cancel(self) -> None: ...


class Clock(Protocol):
    """What the runtime asks of time. ``roomlink.testing`` has one that only moves when told."""

    def stamp(self) -> float:
        """Now. Never less than any stamp given before."""
        ...

    def call_at(self, stamp: float, call: Callable[[], None]) -> Timer:
        """Call ``call`` once ``stamp`` is reached; at once, but not before returning, if it has passed."""
        ...


LOOK_AGAIN_S = 30.0
"""The event loop's timers stand still while the machine sleeps: none is set for longer, so none is later than this."""


def _running() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class _Wait:
    """A timer that looks at the clock again on its way."""

    def __init__(self, clock: Clock, stamp: float, call: Callable[[], None]) -> None:
        self._clock, self._stamp, self._call = clock, stamp, call
        self._set()

    def _set(self) -> None:
        left = min(max(0.0, self._stamp - self._clock.stamp()), LOOK_AGAIN_S)
        run = self._set if left == LOOK_AGAIN_S else self._call
        self._handle = asyncio.get_running_loop().call_later(left, run)

    def cancel(self) -> None:
        self._handle.cancel()


class SystemClock:
    """The machine's clock. Call ``anchor`` once before use; timers need a running event loop."""

    def __init__(self) -> None:
        self._anchor = time.time() - _running()

    def anchor(self, last: float) -> float:
        """Start no earlier than the stamp ``last``. Gives by how many seconds the wall clock lies behind it."""
        behind = max(0.0, last - self.stamp())
        self._anchor += behind
        return behind

    def follow(self, stamp: float) -> None:
        """Another machine writes, and its clock says ``stamp``: say the same. Stamps may go back by this alone."""
        self._anchor = stamp - _running()

    def restart(self) -> float:
        """Write from now on, by this machine's own clock where that is not behind. Gives how far it lies behind."""
        behind = self.stamp() - time.time()
        self._anchor += max(0.0, -behind)
        return max(0.0, behind)

    def stamp(self) -> float:
        return self._anchor + _running()

    def call_at(self, stamp: float, call: Callable[[], None]) -> Timer:
        return _Wait(self, stamp, call)
