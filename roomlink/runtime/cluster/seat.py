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
from roomlink.runtime.ending import ended
from roomlink.runtime.holders import Holder

log = structlog.get_logger("roomlink")

Data = dict[str, Any]
PULSE_S = 0.25
"""How often each node tells that it lives, and what its panels hold."""
TRY_S = 4.0
"""How long a node that has the lease tries to take the journal over, before it lets another try."""
AGAIN_S = 1.0
"""After so long a node that could not do the writer's work competes for the lease again."""
OLD = (
    "This machine hears nothing of the one that runs the venue: what is shown may be old, and orders wait or are"
    " refused. Another machine of the site may serve you; an engineer should look at the network and at NATS."
)


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
        member.broke = lambda: self._turns.put_nowait(self._stand_aside)
        member.replaced = lambda: self._turns.put_nowait(self._lead_again)
        self._begin, self._end, self._holding = begin, end, holding
        self._turns: asyncio.Queue[Callable[[], Awaitable[None]]] = asyncio.Queue()
        self._tasks: list[asyncio.Task[None]] = []
        self._turning = asyncio.Lock()
        self._leaving = False
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
        """Hand the venue over if this node leads or is about to, and follow no more."""
        await self.hand_over()
        await ended(*self._tasks)

    async def hand_over(self) -> bool:
        """Finish what was taken, then let another node lead; this one only follows on, so that its panels go on.

        Gives whether it led.
        """
        self._leaving = True
        async with self._turning:  # what it is about to begin is whole before it ends
            led = self.member.leading
            await self._step_down(orderly=True)
            await self.lease.release()
        self.member.relay.say("free", {})
        return led

    async def succeeded(self, within_s: float, *, led: bool) -> None:
        """Wait until another node has begun to write, if this one led, and what was asked here is answered.

        Or for so long.
        """
        term = self.member.term
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                # The journal hears of it in a thread of its own.
                while (led and self.member.term == term) or self.member.sending.busy:  # noqa: ASYNC110 - see above
                    await asyncio.sleep(0.01)

    # ---- turns, one after the other

    def _won(self) -> None:
        self._turns.put_nowait(self._take_over)

    def _lost(self, why: str) -> None:
        self._turns.put_nowait(lambda: self._step_down(orderly=False))

    async def _run(self) -> None:
        while True:
            turn = await self._turns.get()
            async with self._turning:
                try:
                    await turn()
                except Exception as error:  # whatever it is: a lease held by one who does not write helps nobody
                    log.exception("a turn of the lease failed", error=repr(error))
                    await self._give_up()

    async def _take_over(self) -> None:
        end = self.member.clock.stamp() + TRY_S
        while self.lease.held and not self.member.leading and not self._leaving:
            try:
                await self.member.lead()
            except JournalFailed as error:
                if self.member.clock.stamp() > end:
                    raise  # others may have a way to the journal
                log.warning("not taken over yet", error=str(error))
                await asyncio.sleep(0.05)
        if not self.member.leading:
            self.member.follow()
            return
        self._begun = True
        log.info("this node writes the venue now", seq=self.member.engine.seq)
        self._old(False)
        await self._begin()

    async def _give_up(self) -> None:
        """This node cannot do the writer's work just now: another may, and this one tries again after a while."""
        with contextlib.suppress(Exception):
            await self._step_down(orderly=False)
        await self.lease.release()
        if self.member.broken:
            return
        self.member.follow()
        self.member.relay.say("free", {})
        if not self._leaving:
            await asyncio.sleep(AGAIN_S)
        if not self._leaving:
            self.lease.start()

    async def _lead_again(self) -> None:
        """The stream has gone on without this node, which has the lease: until it has followed, all is refused."""
        if self.member.outrun:
            await self._step_down(orderly=False)
            await self._take_over()

    async def _stand_aside(self) -> None:
        """What is written is not understood here: never lead."""
        await self.lease.release()

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
        """Tell the writer that what is held here has its holders yet, and as the writer what time it is."""
        while True:
            self._old(self.member.alone or bool(self.member.broken))
            holders = self._holding()
            if holders or self.member.leading:
                stamp = self.member.clock.stamp() if self.member.leading else None
                seq = self.member.engine.seq
                self.member.relay.say("pulse", {"holders": holders, "stamp": stamp, "seq": seq})
            await asyncio.sleep(PULSE_S)

    def _old(self, old: bool) -> None:
        """Panels hear when what they show may be old, and when it is not any more."""
        hub = self.member.hub
        if old or hub.trouble == OLD:
            hub.announce(OLD if old else "")

    def _pulse_heard(self, data: Data) -> None:
        if not self.member.leading:
            if data["stamp"] is not None:
                self.member.keep_time(data["stamp"], data.get("seq", 0))
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
