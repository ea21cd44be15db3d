"""Watching over those who hold something: who gives no sign of life is made to let go.

Signs of life are not journalled. Silence becomes one command, as of the last sign plus the silence.
"""

from __future__ import annotations

from collections.abc import Callable

from roomlink import limits
from roomlink.runtime.clock import Clock, Timer


class Holder:
    """One socket. ``let_go`` is called with the stamp as of which it fell silent."""

    def __init__(self, clock: Clock, let_go: Callable[[float], None]) -> None:
        self._clock = clock
        self._let_go = let_go
        self._last = clock.stamp()
        self._timer: Timer | None = None

    def sign(self, waited_s: float = 0.0) -> None:
        """A message came: it lives, or did ``waited_s`` ago, as it may have waited to be read for so long.

        One that comes too late saves nothing: the service itself may have been held up.
        """
        self.overdue()
        self._last = max(self._last, self._clock.stamp() - waited_s)

    def overdue(self) -> None:
        """Let go at once if it was silent for too long, though the timer has not come to run."""
        limit = self._last + limits.HOLD_SILENCE_S
        if self._timer is not None and self._clock.stamp() > limit:
            self.released()
            self._let_go(limit)

    @property
    def silent(self) -> bool:
        """Whether it fell silent for too long to hold anything: what it asked for may have waited that long."""
        return self._clock.stamp() >= self._last + limits.HOLD_SILENCE_S

    def holding(self) -> None:
        """It holds something from now on: watch it. That is no sign of life, for the message may have waited."""
        if self._timer is None:
            self._timer = self._clock.call_at(self._last + limits.HOLD_SILENCE_S, self._check)

    def _check(self) -> None:
        self._timer = None
        limit = self._last + limits.HOLD_SILENCE_S
        if self._clock.stamp() < limit:
            self._timer = self._clock.call_at(limit, self._check)
        else:
            self._let_go(limit)

    def released(self) -> None:
        """It holds nothing any more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
