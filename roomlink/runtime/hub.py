"""Telling those who listen: panels of a controller, and watchers. Nobody who is slow is waited for.

What several show alike is made and encoded once. A listener that has not taken its last messages yet
gets no more of them: what it misses is kept as one touch, and made into one change when it is ready.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable
from typing import Any

import orjson

from roomlink import limits
from roomlink.core import view
from roomlink.core.state import State
from roomlink.runtime.touch import Data, Touch, panel_change, place_change, watch_change

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
    """All listeners of one venue. ``state``, ``seq`` and ``now`` give the durable state to make views from.

    ``journal`` is the identity of the journal that counts ``seq``: positions of another one mean nothing here.
    """

    def __init__(
        self, state: Callable[[], State], seq: Callable[[], int], now: Callable[[], float], journal: str = ""
    ) -> None:
        self._state, self._seq, self._now, self._journal = state, seq, now, journal
        self._panels: dict[str, set[Listener]] = {}
        self._watchers: set[Listener] = set()
        self._recent: deque[tuple[int, Touch]] = deque(maxlen=limits.RESUME_ENTRIES_MAX)
        self._shared: dict[Hashable, Data] = {}
        """Encoded parts that panels share, as of ``_shared_seq``; they hold nothing that changes with time alone."""
        self._shared_seq = -1

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

    def everyone(self) -> list[Listener]:
        return [*self._watchers, *(listener for panels in self._panels.values() for listener in panels)]

    def publish(self, seq: int, touch: Touch, first: str | None = None) -> None:
        """Tell everyone whom entry ``seq`` concerns, before all others the panels of controller ``first``.

        Costs those alone; where the place changed, all panels without news of their own get one and the same message.
        """
        self._recent.append((seq, touch))
        if touch.fresh:
            self._recent.clear()
            for listener in self.everyone():
                listener.catch_up(touch.copy())
            return
        alike: bytes | None = None
        for controller in self._concerned(touch, first):
            if touch.concerns(controller):
                frame = self.render(controller, touch)
            else:
                frame = alike = alike or self.render(controller, touch)
            _offer(self._panels[controller], frame, touch)
        if self._watchers:
            _offer(self._watchers, self.render(None, touch), touch)

    def _concerned(self, touch: Touch, first: str | None) -> list[str]:
        found = self._panels.keys() if touch.everywhere else touch.controllers() & self._panels.keys()
        return [first, *(c for c in found if c != first)] if first is not None and first in found else list(found)

    def render(self, controller: str | None, touch: Touch) -> bytes | None:
        """The message for all that ``touch`` names, as things are now."""
        state, seq, now = self._state(), self._seq(), self._now()
        if touch.fresh:
            return self.welcome(controller)
        if controller is None:
            data = watch_change(state, touch, seq, now)
        else:
            place = self._encoded(touch.place, lambda: place_change(state, touch))
            data = panel_change(state, controller, touch, place, seq, now)
        return None if data is None else orjson.dumps(data)

    def _encoded(self, key: Hashable, make: Callable[[], Data]) -> Data:
        """The members of ``make()``, each encoded already; made once an entry for all who ask with this key."""
        if self._shared_seq != self._seq():
            self._shared.clear()
            self._shared_seq = self._seq()
        found = self._shared.get(key)
        if found is None:
            found = {name: orjson.Fragment(orjson.dumps(part)) for name, part in make().items()}
            self._shared[key] = found
        return found

    def welcome(self, controller: str | None, *, resumed: bool = False, **more: Any) -> bytes:
        """The first message: the whole view, unless the listener has one that a change can bring up to date."""
        state, seq, now = self._state(), self._seq(), self._now()
        head = {"type": "welcome", "seq": seq, "at": view.rfc3339(now), "resumed": resumed}
        head |= {"journal": self._journal, **more}
        if resumed:
            return orjson.dumps(head)
        if controller is None:
            return orjson.dumps({**view.watched(state, seq, now), **head})
        if controller not in state.spec.controllers:
            return orjson.dumps({"type": "bye", "why": f"controller {controller} is no longer configured"})
        place = self._encoded("welcome", lambda: view.place(state))
        return orjson.dumps({"controller": view.face(state, controller, now), **place, **head})

    def missed(self, after: int, journal: str) -> Touch | None:
        """What changed since entry ``after`` of ``journal``; None where that is not known (any more)."""
        if journal != self._journal or after > self._seq() or after < 0:
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


def _offer(listeners: set[Listener], frame: bytes | None, touch: Touch) -> None:
    if frame is not None:
        for listener in listeners:
            listener.offer(frame, touch)
