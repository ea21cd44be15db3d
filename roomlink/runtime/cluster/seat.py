"""A node's place at one venue: it follows, competes for the lease, leads while it has it, and steps down.

following ──lease won──▶ taking over ──▶ leading ──lease lost, or told to hand over──▶ stepping down ──▶ following
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from typing import Any

import structlog

from roomlink.core.commands import Actor, LetGo
from roomlink.errors import JournalFailed, RoomlinkError
from roomlink.runtime.cluster.lease import Lease
from roomlink.runtime.cluster.member import Member
from roomlink.runtime.holders import Holder

log = structlog.get_logger("roomlink")

Data = dict[str, Any]
PULSE_S = 0.25
"""How often each node tells that it lives, and what its panels hold."""


class Seat:
    """Call ``start``; at the end ``leave``. ``begin`` and ``end`` are run as this node becomes the writer, or no more.

    ``end`` is told whether the lease still holds: whoever has lost it may stop what moves, and send nothing else.
    """

    def __init__(
        self,
        member: Member,
        lease_of: Callable[[Callable[[], None], Callable[[str], None]], Lease],
        begin: Callable[[], Awaitable[None]],
        end: Callable[[bool], Awaitable[None]],
        holding: Callable[[], list[str]],
    ) -> None:
        self.member = member
        self.lease = lease_of(self._won, self._lost)
        member.may_lead = lambda: self.lease.held
        member.held_elsewhere = self._held_elsewhere
        self._begin, self._end, self._holding = begin, end, holding
        self._turns: asyncio.Queue[Callable[[], Awaitable[None]]] = asyncio.Queue()
        self._tasks: list[asyncio.Task[None]] = []
        self._begun = False
        self._elsewhere: dict[str, Holder] = {}
        """Holders on other nodes, by name, while this one leads."""

    async def start(self) -> None:
        relay = self.member.relay
        await relay.hear("pulse", self._pulse_heard)
        await relay.hear("free", lambda _: self.lease.hurry())
        self.member.follow()
        self._tasks = [asyncio.create_task(self._run()), asyncio.create_task(self._pulse())]
        self.lease.start()

    async def leave(self) -> None:
        """Hand the venue over if this node leads, and follow no more."""
        if self.member.leading:
            await self.hand_over()
        await self.lease.stop()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def hand_over(self) -> None:
        """Finish what was taken, then let another node lead; this one follows, so that its panels go on."""
        await self._step_down(orderly=True)
        await self.lease.release()
        self.member.relay.say("free", {})

    async def succeeded(self, within_s: float) -> None:
        """Wait until another node has begun to write, and what was asked here is answered; or for so long."""
        term = self.member.term
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                # The journal hears of it in a thread of its own.
                while self.member.term == term or self.member.asking:  # noqa: ASYNC110 - see above
                    await asyncio.sleep(0.01)

    # ---- turns, one after the other

    def _won(self) -> None:
        self._turns.put_nowait(self._take_over)

    def _lost(self, why: str) -> None:
        self._turns.put_nowait(lambda: self._step_down(orderly=False))

    async def _run(self) -> None:
        while True:
            turn = await self._turns.get()
            try:
                await turn()
            except Exception as error:
                log.exception("a turn of the lease failed", error=repr(error))

    async def _take_over(self) -> None:
        while self.lease.held:
            try:
                await self.member.lead()
                break
            except JournalFailed as error:
                log.warning("not taken over yet", error=str(error))
                await asyncio.sleep(0.05)
        if not self.member.leading:
            self.member.follow()
            return
        self._begun = True
        log.info("this node writes the venue now", seq=self.member.engine.seq)
        try:
            await self._begin()
        except RoomlinkError as error:
            log.error("the writer's work could not begin", error=str(error))

    async def _step_down(self, *, orderly: bool) -> None:
        if not self.member.leading:
            return
        begun, self._begun = self._begun, False
        for holder in self._elsewhere.values():
            holder.released()
        self._elsewhere.clear()
        if begun:
            with contextlib.suppress(RoomlinkError):
                await self._end(orderly)
        await self.member.lead_no_more()
        self.member.follow()

    # ---- holders on other nodes

    async def _pulse(self) -> None:
        """Tell the writer that what is held here still has its holders, and all who write what time it is."""
        while True:
            holders = self._holding()
            if holders or self.member.leading:
                stamp = self.member.clock.stamp() if self.member.leading else None
                self.member.relay.say("pulse", {"holders": holders, "stamp": stamp})
            await asyncio.sleep(PULSE_S)

    def _pulse_heard(self, data: Data) -> None:
        if not self.member.leading:
            if data["stamp"] is not None:
                self.member.keep_time(data["stamp"])
            return
        for name in data["holders"]:
            if name in self._elsewhere:
                self._elsewhere[name].sign()

    def _held_elsewhere(self, holder: str) -> None:
        """A panel of another node holds something: watch over it here, as its node may vanish."""
        if holder not in self._elsewhere:
            self._elsewhere[holder] = Holder(self.member.clock, lambda as_of: self._silent(holder, as_of))
        self._elsewhere[holder].holding()

    def _silent(self, holder: str, as_of: float) -> None:
        self._elsewhere.pop(holder, None)
        if any(hold.partition("/")[0] == holder for hold in self.member.engine.ahead.holds.live()):
            self.member.surely(
                LetGo(Actor("service", "service", holder), holder, as_of, "no sign of life from its node")
            )
