"""An event loop that does nothing by itself: what is due runs when told, in the order in which it was asked for.

Code that is written for asyncio's loop (callbacks, futures, tasks that wait for futures) runs on it by plain calls, so
that its order is fully determined. It has no time, no sockets and no threads: those are the caller's to simulate.

>>> loop = StillLoop()
>>> with loop.running():
...     future = loop.create_future()
...     loop.call_soon(future.set_result, 1)
...     loop.run_ready()
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from contextvars import Context
from typing import Any

CALLBACKS_AT_ONCE_MAX = 100_000
"""Callbacks that follow from one another at most."""


_Loop: Any = asyncio.AbstractEventLoop


class StillLoop(_Loop):  # type: ignore[misc]  # its many other methods are left to raise NotImplementedError
    """``call_soon``, futures and tasks; everything else of an event loop raises NotImplementedError."""

    def __init__(self) -> None:
        self._ready: deque[asyncio.Handle] = deque()
        self._tasks: set[asyncio.Task[Any]] = set()
        self.errors: list[BaseException] = []
        """What callbacks and tasks failed with, and nobody took."""

    @contextmanager
    def running(self) -> Iterator[None]:
        """Within, this is the running loop of the thread."""
        before = asyncio.events._get_running_loop()
        asyncio.events._set_running_loop(self)
        try:
            yield
        finally:
            asyncio.events._set_running_loop(before)

    def run_ready(self) -> bool:
        """Run what is due, and what that makes due; says whether there was anything."""
        for count in range(CALLBACKS_AT_ONCE_MAX):
            if not self._ready:
                return count > 0
            handle = self._ready.popleft()
            if not handle.cancelled():
                handle._run()
        raise RuntimeError(f"more than {CALLBACKS_AT_ONCE_MAX} callbacks ask for one another without end")

    def end(self) -> None:
        """Cancel every task and let that take its course; what else was due never runs."""
        self._ready.clear()
        for task in list(self._tasks):
            task.cancel()
        self.run_ready()

    # What asyncio asks of a loop.

    def call_soon(self, callback: Callable[..., Any], *args: Any, context: Context | None = None) -> asyncio.Handle:
        handle = asyncio.Handle(callback, args, self, context)
        self._ready.append(handle)
        return handle

    call_soon_threadsafe = call_soon

    def call_later(
        self, delay: float, callback: Callable[..., Any], *args: Any, context: Context | None = None
    ) -> asyncio.TimerHandle:
        """It has no time of its own: what rests for a moment rests until what is due has run."""
        handle = asyncio.TimerHandle(0.0, callback, args, self, context)
        self._ready.append(handle)
        return handle

    def create_future(self) -> asyncio.Future[Any]:
        return asyncio.Future(loop=self)

    def create_task(self, coro: Coroutine[Any, Any, Any], **more: Any) -> asyncio.Task[Any]:
        task = asyncio.Task(coro, loop=self, **more)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    def call_exception_handler(self, context: dict[str, Any]) -> None:
        self.errors.append(context.get("exception") or RuntimeError(context.get("message")))

    def get_debug(self) -> bool:
        return False

    def is_running(self) -> bool:
        return True

    def is_closed(self) -> bool:
        return False
