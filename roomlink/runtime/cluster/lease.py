"""The lease of a venue: which node writes it. It lives in a key-value bucket, and is renewed by revision.

Nobody compares clocks. A holder counts from the moment before it asked to renew; a waiter from the moment after it
has seen the lease renewed. So the holder has stopped before a waiter begins, however long either of them slept.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import nats.errors
import orjson
import structlog
from nats.js.errors import Error as JetStreamError
from nats.js.errors import KeyNotFoundError, KeyWrongLastSequenceError
from nats.js.kv import KeyValue

from roomlink.runtime.ending import ended

log = structlog.get_logger("roomlink")

RENEW_S = 0.4
HELD_S = 1.2
"""So long after asking to renew it a holder may act."""
SILENCE_S = 1.7
"""So long a waiter sees no renewal before it takes the lease."""
ASK_S = 0.3
ANSWER_S = 0.6
assert RENEW_S + ANSWER_S < HELD_S < SILENCE_S, "a lease must be renewed before it ends, and end before it is taken"


def _running() -> float:
    """Seconds since the machine started, its sleep included: who slept must not take an old lease for a new one."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


TROUBLE = (nats.errors.Error, JetStreamError, TimeoutError, OSError)


@dataclass(frozen=True, slots=True)
class Seen:
    """The lease as the bucket has it."""

    revision: int
    node: str
    address: str
    life: str
    free: bool


class Lease:
    """One node's part in one venue's lease. ``won`` and ``lost`` are called in the event loop, in turn.

    Call ``start`` in a running loop. Check ``held`` before each act that only the holder may do. ``release`` gives the
    lease to whoever is quickest; ``stop`` only stops asking.
    """

    def __init__(
        self,
        bucket: KeyValue,
        venue: str,
        node: str,
        address: str,
        won: Callable[[], None],
        lost: Callable[[str], None],
        *,
        after_s: Callable[[bool], float] = lambda free: 0.0,
        answered: Callable[[bool], None] = lambda answered: None,
    ) -> None:
        self._bucket, self._venue, self._node, self._address = bucket, venue, node, address
        self._won, self._lost = won, lost
        self._answered = answered
        """Told each time that the bucket was asked whether it answered."""
        self._after_s = after_s
        """How much longer than others this node waits just now, for a free one or one that fell silent: so that venues
        spread over the nodes."""
        self._life = uuid4().hex
        self._task: asyncio.Task[None] | None = None
        self._until = 0.0
        self._holds = False
        self.seen: Seen | None = None
        self._seen_at = _running()
        self._ask_now = asyncio.Event()

    def start(self) -> None:
        self._task = asyncio.get_running_loop().create_task(self._run())

    async def stop(self) -> None:
        task, self._task = self._task, None
        await ended(task)

    @property
    def held(self) -> bool:
        """Whether this node may act as the writer at this very moment."""
        return self._holds and _running() < self._until

    @property
    def holder(self) -> str:
        """The node that has the lease, as far as is known; empty if none has."""
        return "" if self.seen is None or self.seen.free else self.seen.node

    def hurry(self) -> None:
        """Somebody has said that the lease is free: look at once."""
        self._ask_now.set()

    async def release(self) -> None:
        """Let another node have it at once. Whatever the writer had to finish is finished before."""
        await self.stop()
        if not self._holds:
            return
        self._holds, self._until = False, 0.0
        with contextlib.suppress(*TROUBLE):
            if not await self._write(free=True):
                # A renewal was under way, and its answer is not known: the lease is still ours.
                self.seen = await self._read()
                if self.seen is not None and self.seen.life == self._life:
                    await self._write(free=True)

    async def _run(self) -> None:
        while True:
            try:
                await (self._renew() if self._holds else self._watch())
                self._answered(True)
            except TROUBLE as error:
                self._answered(False)
                log.debug("lease", venue=self._venue, error=repr(error))
            except Exception as bug:  # whoever holds it must come to its end, whatever there is in the bucket
                log.error("lease", venue=self._venue, error=repr(bug))
            if self._holds and _running() >= self._until:
                self._lose("the lease could not be renewed in time")
            await self._pause(min(RENEW_S, max(self._until - _running(), 0.0)) if self._holds else self._asks())

    def _asks(self) -> float:
        """How long until the next look: a lease that is free is not waited for long."""
        return min(ASK_S, self._after_s(True) + 0.01) if self.seen is not None and self.seen.free else ASK_S

    async def _pause(self, seconds: float) -> None:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ask_now.wait(), seconds)
        self._ask_now.clear()

    async def _renew(self) -> None:
        asked = _running()
        if asked >= self._until:
            return  # it slept too long: another may have it by now
        if await self._write():
            self._until = asked + HELD_S
            return
        found = await self._read()
        if found is None or found.life != self._life or found.free:
            self._lose("another node has taken the lease")
        else:
            self.seen = found  # a renewal of ours whose answer was lost; it is renewed once more at the next turn

    async def _watch(self) -> None:
        found = await self._read()
        if (found and found.revision) != (self.seen and self.seen.revision):
            self.seen, self._seen_at = found, _running()
        silent = _running() - self._seen_at
        free = found is None or found.free
        if silent >= self._after_s(free) + (0.0 if free else SILENCE_S):
            asked = _running()
            if await self._write():
                self._until = asked + HELD_S
                self._holds = True
                self._won()

    def _lose(self, why: str) -> None:
        self._holds, self._until = False, 0.0
        self.seen, self._seen_at = None, _running()
        log.warning("lease lost", venue=self._venue, why=why)
        self._lost(why)

    async def _read(self) -> Seen | None:
        try:
            entry = await asyncio.wait_for(self._bucket.get(self._venue), ANSWER_S)
        except KeyNotFoundError:
            return None
        try:
            said: dict[str, Any] = dict(orjson.loads(entry.value or b"{}"))
        except (ValueError, TypeError):
            said = {}  # not one of ours: it falls silent like any other
        node, address, life = (str(said.get(name, "")) for name in ("node", "address", "life"))
        return Seen(entry.revision or 0, node, address, life, bool(said.get("free")))

    async def _write(self, *, free: bool = False) -> bool:
        """Put our name there over what was seen; False where somebody was quicker."""
        said = orjson.dumps({"node": self._node, "address": self._address, "life": self._life, "free": free})
        last = 0 if self.seen is None else self.seen.revision
        work = self._bucket.update(self._venue, said, last=last)
        # Who holds it must know at its very end that it has ended, for what moves is to stop then.
        within = min(ANSWER_S, self._until - _running()) if self._holds else ANSWER_S
        try:
            revision = await asyncio.wait_for(work, max(within, 0.0))
        except KeyWrongLastSequenceError:
            return False
        self.seen, self._seen_at = Seen(revision, self._node, self._address, self._life, free), _running()
        return True
