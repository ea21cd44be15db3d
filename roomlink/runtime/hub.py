"""Telling those who listen: panels of a controller, and watchers. Nobody who is slow is waited for.

A message is made and encoded once for all that show the same. A listener that has not taken its last messages yet
gets no more of them: what it misses is kept as one touch, and made into one change when it is ready.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import orjson

from roomlink import limits
from roomlink.core import view
from roomlink.core.state import State
from roomlink.runtime.touch import Touch, panel_change, watch_change

BACKLOG_MESSAGES_MAX = 8
"""Messages that wait for a listener before they merge."""


class Listener:
    """One who listens: ``controller`` for a panel, None for a watcher.

    The owner calls ``take`` whenever ``wake`` was called, and sends what it gives until that is None.
    """

    def __init__(self, hub: Hub, controller: str | None, wake: Callable[[], None]) -> None:
        self.controller = controller
        self._hub = hub
        self._wake = wake
        self._ready: deque[bytes] = deque()
        self._missed: Touch | None = None

    def offer(self, frame: bytes, touch: Touch) -> None:
        if self._missed is not None:
            self._missed.merge(touch)
        elif len(self._ready) >= BACKLOG_MESSAGES_MAX:
            self._missed = touch.copy()
        else:
            self._ready.append(frame)
            if len(self._ready) == 1:
                self._wake()

    def push(self, frame: bytes) -> None:
        """A message of its own (a reply, a welcome): these are few, and never dropped."""
        self._ready.append(frame)
        self._wake()

    def catch_up(self, touch: Touch) -> None:
        """Let it have one change for all that ``touch`` names."""
        self._missed = touch
        self._wake()

    @property
    def waiting(self) -> int:
        """Messages that it has not taken yet."""
        return len(self._ready)

    def take(self) -> bytes | None:
        """The next message to send, or None when there is nothing to say now."""
        if self._ready:
            return self._ready.popleft()
        if self._missed is None:
            return None
        touch, self._missed = self._missed, None
        return self._hub.render(self.controller, touch)


class Hub:
    """All listeners of one venue. ``state``, ``seq`` and ``now`` give the durable state to make views from."""

    def __init__(self, state: Callable[[], State], seq: Callable[[], int], now: Callable[[], float]) -> None:
        self._state, self._seq, self._now = state, seq, now
        self._panels: dict[str, set[Listener]] = {}
        self._watchers: set[Listener] = set()
        self._recent: deque[tuple[int, Touch]] = deque(maxlen=limits.RESUME_ENTRIES_MAX)
        self.epoch = 0
        """Counts configurations; what was remembered of an earlier one cannot be resumed."""

    def join(self, controller: str | None, wake: Callable[[], None]) -> Listener:
        listener = Listener(self, controller, wake)
        (self._watchers if controller is None else self._panels.setdefault(controller, set())).add(listener)
        return listener

    def leave(self, listener: Listener) -> None:
        self._watchers.discard(listener)
        panels = self._panels.get(listener.controller or "")
        if panels is not None:
            panels.discard(listener)
            if not panels:
                del self._panels[listener.controller or ""]

    @property
    def listeners(self) -> int:
        return len(self._watchers) + sum(map(len, self._panels.values()))

    def everyone(self) -> list[Listener]:
        return [*self._watchers, *(listener for panels in self._panels.values() for listener in panels)]

    def publish(self, seq: int, touch: Touch) -> None:
        """Tell everyone whom entry ``seq`` concerns. Costs those alone."""
        self._recent.append((seq, touch))
        if touch.fresh:
            self._recent.clear()
            self.epoch += 1
            for listener in self.everyone():
                listener.catch_up(touch.copy())
            return
        concerned = list(self._panels) if touch.everywhere else [c for c in touch.controllers() if c in self._panels]
        for controller in concerned:
            self._offer(self._panels[controller], controller, touch)
        if self._watchers:
            self._offer(self._watchers, None, touch)

    def _offer(self, listeners: set[Listener], controller: str | None, touch: Touch) -> None:
        frame = self.render(controller, touch)
        if frame is not None:
            for listener in listeners:
                listener.offer(frame, touch)

    def render(self, controller: str | None, touch: Touch) -> bytes | None:
        """The message for all that ``touch`` names, as things are now."""
        state, seq, now = self._state(), self._seq(), self._now()
        if touch.fresh:
            return self.welcome(controller)
        data = (
            watch_change(state, touch, seq, now)
            if controller is None
            else panel_change(state, controller, touch, seq, now)
        )
        return None if data is None else orjson.dumps(data)

    def welcome(self, controller: str | None, *, resumed: bool = False, **more: Any) -> bytes:
        """The first message: the whole view, unless the listener has one that a change can bring up to date."""
        state, seq, now = self._state(), self._seq(), self._now()
        head = {"type": "welcome", "seq": seq, "at": view.rfc3339(now), "resumed": resumed, **more}
        if resumed:
            return orjson.dumps(head)
        if controller is None:
            return orjson.dumps({**view.whole(state, seq, now), **head})
        if controller not in state.spec.controllers:
            return orjson.dumps({"type": "bye", "why": f"controller {controller} is no longer configured"})
        return orjson.dumps({**view.panel(state, controller, now), **head})

    def missed(self, after: int) -> Touch | None:
        """What changed since entry ``after``; None where that is not known (any more)."""
        if after > self._seq() or after < 0:
            return None
        if after == self._seq():
            return Touch()
        if not self._recent or self._recent[0][0] > after + 1:
            return None
        touch = Touch()
        for seq, one in reversed(self._recent):
            if seq <= after:
                break
            touch.merge(one)
        return touch
