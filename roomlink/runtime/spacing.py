"""Work that nobody waits for, with rests between, so that those who wait come in."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

REST_TIMES = 3.0
"""A rest is so many times as long as the work before it took: it gets a quarter of the time at most."""
REST_S_MAX = 0.02
"""No rest is longer, so that what is told late is still told at once for a person."""


class Spaced:
    """Runs functions soon, one by one: the first at once after what is due now, the next after a rest.

    ``stamp`` gives seconds that never go back. Call it in a running event loop.
    """

    def __init__(self, stamp: Callable[[], float]) -> None:
        self._stamp = stamp
        self._rested = 0.0

    def __call__(self, run: Callable[[], None]) -> None:
        loop = asyncio.get_running_loop()
        rest = self._rested - self._stamp()
        if 0.0 < rest <= REST_S_MAX:  # a clock that follows another machine's may have gone back
            loop.call_later(rest, self._run, run)
        else:
            loop.call_soon(self._run, run)

    def _run(self, run: Callable[[], None]) -> None:
        began = self._stamp()
        run()
        ended = self._stamp()
        self._rested = ended + min(REST_TIMES * (ended - began), REST_S_MAX)
