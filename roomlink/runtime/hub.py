"""Telling those who listen: panels of a controller, and watchers. Nobody who is slow is waited for.

What several show alike is made and encoded once. A listener that has not taken its last messages yet
gets no more of them: what it misses is kept as one touch, and made into one change when it is ready.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable
from typing import Any

import orjson
import structlog

from roomlink import limits
from roomlink.core import view
from roomlink.core.state import State
from roomlink.runtime.framing import framed
from roomlink.runtime.touch import Data, Touch, panel_change, place_change, watch_change

log = structlog.get_logger("roomlink")

BACKLOG_MESSAGES_MAX = 8
"""Messages that wait for a listener before they merge."""


class Listener:
    """One who listens: ``controller`` for a panel, None for a watcher.

    While its owner sets ``straight``, what is for it is written there at once, framed. Else it waits: the owner calls
    ``take`` when ``wake`` was called or there is room again, and sends what it gives until that is None; then it may
    set ``straight``, and must take it back as soon as there is no room.
    """

    def __init__(self, hub: Hub, controller: str | None, wake: Callable[[], None]) -> None:
        self.controller = controller
        self.straight: Callable[[bytes], object] | None = None
        self._hub = hub
        self._wake = wake
        self._ready: deque[bytes] = deque()
        self._missed: Touch | None = None

    def offer(self, frame: bytes, touch: Touch) -> None:
        """Keep a message until it is taken."""
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
        # A reply tells a position: all up to that comes before it, but for what merges as it does not keep up.
        self._hub.tell(self.controller)
        if self.straight is not None:
            self.straight(framed((frame,)))
        else:
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
    ``soon`` runs a function when those who wait for replies have been served, as an event loop's ``call_soon`` does.
    """

    def __init__(
        self,
        state: Callable[[], State],
        seq: Callable[[], int],
        now: Callable[[], float],
        journal: str = "",
        soon: Callable[[Callable[[], None]], object] = lambda run: run(),
    ) -> None:
        self._state, self._seq, self._now, self._journal, self._soon = state, seq, now, journal, soon
        self._pending: dict[str | None, list[tuple[bytes, Touch]]] = {}
        """What is still to be told, by controller."""
        self._telling = False
        self._panels: dict[str, set[Listener]] = {}
        self._watchers: set[Listener] = set()
        self._recent: deque[tuple[int, Touch]] = deque(maxlen=limits.RESUME_ENTRIES_MAX)
        self._shared: dict[Hashable, Data] = {}
        """Encoded parts that panels share, as of ``_shared_seq``; they hold nothing that changes with time alone."""
        self._shared_seq = -1
        self.trouble = ""
        """What everybody must know though it is not in the state; empty: nothing."""

    def join(self, controller: str | None, wake: Callable[[], None]) -> Listener:
        self.tell(controller)  # what others have yet to hear is older than the welcome of this one
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
        try:
            if not touch.fresh:
                self._publish(touch, first)
        except Exception:
            # Devices hear of the entry after panels: an error in what is shown must not keep them from it.
            log.exception("panels get a whole new view", seq=seq)
            touch = Touch(fresh=True)
        if touch.fresh:
            self._recent.clear()
            self._pending.clear()
            for listener in self.everyone():
                listener.catch_up(touch.copy())

    def _publish(self, touch: Touch, first: str | None) -> None:
        alike: bytes | None = None
        for controller in self._concerned(touch, first):
            if touch.concerns(controller):
                frame = self.render(controller, touch)
            else:
                frame = alike = alike or self.render(controller, touch)
            self._tell_soon(controller, frame, touch)
            if controller == first:
                self.tell(controller)
        if self._watchers:
            self._tell_soon(None, self.render(None, touch), touch)

    def _tell_soon(self, controller: str | None, frame: bytes | None, touch: Touch) -> None:
        if frame is None:
            return
        self._pending.setdefault(controller, []).append((frame, touch))
        if not self._telling:
            # Once for all entries that one flush of the disk made durable: so each listener gets them in one piece.
            self._telling = True
            self._soon(self._tell_all)

    def _tell_all(self) -> None:
        self._telling = False
        for controller in list(self._pending):
            self.tell(controller)

    def tell(self, controller: str | None) -> None:
        """Let those who show ``controller`` have at once what is still to be told."""
        news = self._pending.pop(controller, None)
        if not news:
            return
        packed = framed(tuple(frame for frame, _ in news))
        for listener in tuple(self._watchers if controller is None else self._panels.get(controller, ())):
            if listener.straight is not None:
                listener.straight(packed)
            else:
                for frame, touch in news:
                    listener.offer(frame, touch)

    def _concerned(self, touch: Touch, first: str | None) -> list[str]:
        found = self._panels.keys() if touch.everywhere else touch.controllers() & self._panels.keys()
        return [first, *(c for c in found if c != first)] if first is not None and first in found else list(found)

    def render(self, controller: str | None, touch: Touch) -> bytes | None:
        """The message for all that ``touch`` names, as things are now."""
        state, seq, now = self._state(), self._seq(), self._now()
        if touch.fresh or (touch.veil and controller is None):
            return self.welcome(controller)
        if controller is None:
            data = watch_change(state, touch, seq, now)
        else:
            place = self._encoded(touch.place, lambda: place_change(state, touch))
            data = panel_change(state, controller, touch, place, seq, now)
        return None if data is None else orjson.dumps(data)

    def announce(self, trouble: str) -> None:
        """Tell everybody, and those who come later, what they must know beside the state; empty: it is over."""
        if trouble != self.trouble:
            self.trouble = trouble
            for listener in self.everyone():
                listener.push(orjson.dumps({"type": "trouble", "why": trouble}))

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
        head |= {"journal": self._journal, **more, **({"trouble": self.trouble} if self.trouble else {})}
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
