"""An event loop without waiting: when nothing is ready, its time leaps to the next timer. Not for sockets."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


class _Leaping(selectors.SelectSelector):
    """Adds to ``elapsed`` what it should have waited."""

    elapsed = 0.0

    def select(self, timeout: float | None = None) -> Any:
        if timeout is None:
            raise RuntimeError("everything waits for everything: no timer is set")
        self.elapsed += max(timeout, 0.0)
        return super().select(0)


class LeapingLoop(asyncio.SelectorEventLoop):
    """``time`` begins at 1000 s and moves by leaps alone."""

    def __init__(self) -> None:
        self._leaping = _Leaping()
        super().__init__(self._leaping)

    def time(self) -> float:
        return 1000.0 + self._leaping.elapsed


def leap(story: Coroutine[Any, Any, T]) -> T:
    """Run ``story`` to its end in virtual time."""
    with asyncio.Runner(loop_factory=LeapingLoop) as runner:
        return runner.run(story)
