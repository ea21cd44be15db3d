"""The engine: the core's two states and the journal entries between them. Plain calls, no event loop.

taken = engine.take(command, now)     decided against ``ahead``; nobody may see it yet
... the entry is made durable ...
engine.committed(taken.entry)         now it is in ``durable``, which all views are made from
engine.lost()                         or it never will be: ``ahead`` is folded again from ``durable``
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.core.apply import apply
from roomlink.core.commands import Command, Wake
from roomlink.core.decide import Request, decide, describe, next_deadline
from roomlink.core.events import Entry
from roomlink.core.state import State


@dataclass(frozen=True, slots=True)
class Taken:
    """A command decided. ``seq`` is the journal position that must be durable before the reply is given."""

    seq: int
    reply: Mapping[str, Any]
    entry: Entry | None
    """What to make durable; None where nothing changes."""


class Engine:
    """One venue. Only one thread may call it."""

    def __init__(self, state: State, seq: int) -> None:
        self.durable = state
        self.seq = seq
        self.ahead = state.copy()
        self.head = seq
        """The position of the newest entry decided, durable or not."""

    @property
    def deadline(self) -> float | None:
        """When ``wake`` wants to be called."""
        return next_deadline(self.ahead)

    def wake(self, now: float) -> Entry | None:
        """Decide what is due at ``now``; make the entry durable like any other."""
        first = self.deadline
        return None if first is None or first > now else self.take(Wake(), now).entry

    def take(self, command: Command, now: float, key: str | None = None, digest: str = "") -> Taken:
        """Decide a command at ``now``. Call ``wake`` first, so that nothing due lies before it.

        Raises ``CallerFault`` with nothing decided.
        """
        request = None if key is None else Request(key, digest, self.head + 1)
        decision = decide(self.ahead, command, now, request)
        if not decision.events:
            return Taken(self.head, decision.reply, None)
        self.head += 1
        by = command.by
        did = describe(command) | ({"request": by.request} if by.request else {})
        entry = Entry(self.head, now, by.who, by.via, did, decision.events, by.where)
        for event in entry.events:
            apply(self.ahead, event)
        return Taken(entry.seq, decision.reply, entry)

    def committed(self, entry: Entry) -> None:
        """``entry`` is durable. Entries are committed in the order in which they were taken."""
        assert entry.seq == self.seq + 1
        for event in entry.events:
            apply(self.durable, event)
        self.seq = entry.seq
        if self.ahead is self.durable:
            self.head = self.seq

    def follow(self) -> None:
        """Another engine decides from now on: call ``committed`` with its entries, and ``lost`` to decide again."""
        self.ahead, self.head = self.durable, self.seq

    def lost(self) -> None:
        """Whatever was taken and not committed never happened."""
        self.ahead = self.durable.copy()
        self.head = self.seq
