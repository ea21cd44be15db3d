"""A venue with panels but no journal, socket or clock: what deciding, folding and telling cost by themselves."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from itertools import count
from typing import Any

from roomlink.core.commands import Act, Actor, Command, Configure
from roomlink.core.events import Entry
from roomlink.core.state import State
from roomlink.journal.rows import START, rows_of
from roomlink.runtime import touch as touches
from roomlink.runtime.engine import Engine
from roomlink.runtime.hub import Hub

BY = Actor("bench", "http")
BEGIN_S = 1_800_000_000.0


class Place:
    """One venue; ``told`` counts the messages of each panel that listens."""

    def __init__(self, data: Mapping[str, Any], panels: Mapping[str, int]) -> None:
        self.now, self.entries, self.told = BEGIN_S, 0, 0
        self.engine = Engine(State(), 0)
        self._soon: list[Callable[[], None]] = []
        self.hub = Hub(
            lambda: self.engine.durable, lambda: self.engine.seq, lambda: self.now, "bench", self._soon.append
        )
        self.do(Configure(BY, dict(data), "bench"))
        for controller, many in panels.items():
            for _ in range(many):
                self.hub.join(controller, lambda: None).straight = self._hear
        self._values = count()

    def _hear(self, packed: bytes) -> None:
        self.told += 1

    def do(self, command: Command) -> Entry | None:
        """Decide, encode, fold, tell: all but the disk and the sockets."""
        self.now += 0.01
        entry = self.engine.take(command, self.now).entry
        if entry is not None:
            self.show(entry)
        return entry

    def wake(self) -> bool:
        """Let happen what is due next, at its time; whether something was."""
        due = self.engine.deadline
        if due is None:
            return False
        self.now = max(self.now, due)
        entry = self.engine.wake(self.now)
        if entry is not None:
            self.show(entry)
        return True

    def show(self, entry: Entry) -> None:
        self.entries += 1
        rows_of([entry], entry.seq - 1, START)
        touch = touches.before(self.engine.durable, entry.events)
        self.engine.committed(entry)
        touches.spread(touch, self.engine.durable)
        self.hub.publish(entry.seq, touch)
        waiting, self._soon[:] = self._soon[:], []
        for run in waiting:
            run()

    def press(self, controller: str = "a-panel", **more: Any) -> None:
        """Set a level to another value through a controller."""
        value = -10.0 - next(self._values) % 40
        self.do(Act(BY, "volume", "set", controller, None, value, more.get("over", 0.0), None, True))

    def pressing(self, times: int, controller: str = "a-panel") -> Callable[[], float]:
        """Seconds of CPU that a press takes, on average over so many."""

        def run() -> float:
            begun = time.thread_time()
            for _ in range(times):
                self.press(controller)
            return (time.thread_time() - begun) / times

        return run
