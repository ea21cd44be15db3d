"""Stamps: seconds since 1970 that never go back and never freeze.

A stamp is an anchor plus monotonic time. The anchor is the wall time at the start, or the journal's last stamp where
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


class SystemClock:
    """The machine's clock. Call ``anchor`` once before use; timers need a running event loop."""

    def __init__(self) -> None:
        self._anchor = time.time() - time.monotonic()

    def anchor(self, last: float) -> float:
        """Start no earlier than the stamp ``last``. Gives by how many seconds the wall clock lies behind it."""
        behind = max(0.0, last - self.stamp())
        self._anchor += behind
        return behind

    def stamp(self) -> float:
        return self._anchor + time.monotonic()

    def call_at(self, stamp: float, call: Callable[[], None]) -> Timer:
        return asyncio.get_running_loop().call_later(max(0.0, stamp - self.stamp()), call)
