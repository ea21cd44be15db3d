"""Telling others what happens, from the durable journal: at least once, in order, and nobody waits for anybody.

Each webhook is a task of its own that reads the journal behind the position up to which it has told. How far that is,
and what failed, is an entry of the journal itself (``Told``): it is there after a restart, in every backup, and on
every machine that may take over, where a file beside the journal would be missing or of another time. It is written
after messages were told, at most every ``NOTE_S``; after a crash those since then are told once more, with their ids.
"""

from __future__ import annotations

import asyncio
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import httpx
import structlog

from roomlink.core import alarms
from roomlink.core.checks import require
from roomlink.core.commands import Actor, NoteTold, ReportTrouble
from roomlink.core.events import Configured, Entry, Told
from roomlink.core.instants import rfc3339
from roomlink.diary.webhooks import Message, Teller, message_at
from roomlink.errors import BadValue, CallerFault, JournalDamaged, OurFault
from roomlink.runtime.ending import ended
from roomlink.runtime.outside import Bell, shown_url
from roomlink.runtime.posting import Answer, backoff, post
from roomlink.runtime.writer import Writer

log = structlog.get_logger("roomlink")

Data = dict[str, Any]
Failed = tuple[int, int, str]

BY = Actor("webhooks", "service")
NOTE_S = 5.0
PAGE_ENTRIES = 200
REFUSALS_MAX = 3
"""After this many refusals of one message it is put aside, so that the others can go on."""
GIVEN_UP = "webhook-given-up"
"""The alarm of a message that was put aside."""
ALARM_TRIES = 5
"""After this many failures in a row there is an alarm."""
FAILED_MAX = 1000
"""Messages that are kept to be sent again; the oldest are dropped (``after`` still finds them in the journal)."""


@dataclass(slots=True)
class Standing:
    """How a webhook stands, as far as it is not durable."""

    failures: int = 0
    why: str = ""
    since: float | None = None
    told: int = 0
    last: float | None = None
    waits: float | None = None


@dataclass(slots=True)
class Hook:
    """One webhook at work."""

    config: Mapping[str, Any]
    bell: Bell
    upto: int
    failed: tuple[Failed, ...] = ()
    again: list[Failed] = field(default_factory=list)
    standing: Standing = field(default_factory=Standing)
    task: asyncio.Task[None] | None = None
    noted: int = 0
    """The position that is durable."""


class Webhooks:
    """All webhooks of a venue. Start it when the venue is configured, stop it before the writer.

    ``folder`` is where relative names of secret files count from; ``wall`` tells the time that is signed, which must
    be that of the world.
    """

    def __init__(
        self,
        writer: Writer,
        folder: Path | None = None,
        *,
        wall: Callable[[], float] = time.time,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._writer = writer
        self._folder = folder or Path()
        self._wall = wall
        self._chance = chance
        self._client: httpx.AsyncClient | None = None
        self._hooks: dict[str, Hook] = {}
        self._notes: set[str] = set()
        self._noting: Any = None
        self._chores: set[asyncio.Task[None]] = set()

    def start(self) -> None:
        self._client = httpx.AsyncClient(follow_redirects=False, headers={"user-agent": "roomlink"})
        self._writer.hooks.append(self._heard)
        self._configure()

    async def stop(self) -> None:
        """Let go of everything; what is on its way is told once more after the next start."""
        if self._client is None:
            return
        self._writer.hooks.remove(self._heard)
        await ended(*(hook.task for hook in self._hooks.values()))
        if self._noting is not None:
            self._noting.cancel()
        await asyncio.gather(*self._chores)
        for name, hook in self._hooks.items():
            if name in self._notes or hook.upto - hook.noted > PAGE_ENTRIES:
                await self._note(name)
        await self._client.aclose()
        self._client = None
        self._hooks.clear()

    def _heard(self, entry: Entry) -> None:
        if any(isinstance(event, Configured) for event in entry.events):
            self._configure()
        if not all(isinstance(event, Told) for event in entry.events):
            for hook in self._hooks.values():
                hook.bell.ring()

    def _configure(self) -> None:
        """Take up what is new or changed, and let go of what is gone. A new webhook hears from now on."""
        state = self._writer.state
        wanted = {config["name"]: config for config in state.spec.data.get("webhooks", ())}
        for name in [name for name, hook in self._hooks.items() if wanted.get(name) != hook.config]:
            hook = self._hooks.pop(name)
            if hook.task is not None:
                hook.task.cancel()
            if name in wanted:
                self._begin(name, wanted[name], hook.upto, hook.failed)
            else:
                self._report(f"webhook/{name}")
        for name in state.told.live():
            if name not in wanted:
                self._writer.surely(NoteTold(BY, name, None))
        for name, config in wanted.items():
            if name not in self._hooks:
                known = state.told.get(name)
                upto, failed = known or (self._writer.engine.seq, ())
                self._begin(name, config, upto, failed)
                if known is None:
                    self._soon(self._note(name))

    def _begin(self, name: str, config: Mapping[str, Any], upto: int, failed: tuple[Failed, ...]) -> None:
        hook = Hook(config, Bell(self._writer.clock), upto, failed, noted=upto)
        self._hooks[name] = hook
        hook.task = asyncio.get_running_loop().create_task(self._run(hook))

    # Telling

    async def _run(self, hook: Hook) -> None:
        teller = Teller(hook.config["events"])
        while True:
            await self._resend(hook)
            head = self._writer.engine.seq
            if hook.upto >= head:
                await hook.bell.wait()
                continue
            try:
                entries = await asyncio.to_thread(self._page, hook.upto, head)
            except JournalDamaged as error:
                log.error("webhook", webhook=hook.config["name"], error=f"entries up to {head} are skipped: {error}")
                hook.upto = head
                continue
            for entry in entries:
                for message in teller.messages(entry):
                    await self._surely_tell(hook, message)
                hook.upto = entry.seq

    def _page(self, after: int, head: int) -> list[Entry]:
        return list(islice(self._writer.journal.entries(after, head), PAGE_ENTRIES))

    async def _surely_tell(self, hook: Hook, message: Message) -> None:
        """Tell a message; return when it was taken, or put aside because it is refused or too old."""
        refusals = 0
        while True:
            answer = await self._tell(hook, message)
            if answer.good:
                break
            refusals += not answer.again
            too_old = self._writer.clock.stamp() - message.at > hook.config["give_up"]
            if refusals >= REFUSALS_MAX or too_old:
                failed = (*hook.failed, (message.seq, message.place, answer.why))
                hook.failed = failed[-FAILED_MAX:]
                log.warning("webhook", webhook=hook.config["name"], put_aside=message.seq, why=answer.why)
                self._given_up(hook.config["name"], message, answer.why)
                break
            pause = max(answer.after, backoff(hook.standing.failures, self._chance()))
            await self._pause(hook, pause)
        self._soon_noted(hook)

    async def _pause(self, hook: Hook, seconds: float) -> None:
        """Wait; what rings meanwhile is only looked at afterwards, unless it is a person who wants it sent again."""
        until = self._writer.clock.stamp() + seconds
        hook.standing.waits = until
        while not hook.again and (left := until - self._writer.clock.stamp()) > 0:
            await hook.bell.wait(left)
        hook.standing.waits = None
        await self._resend(hook)

    async def _resend(self, hook: Hook) -> None:
        """Try what was put aside once more, as a person asked; each once."""
        while hook.again:
            one = hook.again.pop(0)
            seq, place, _ = one
            entries = await asyncio.to_thread(self._page, seq - 1, seq)
            message = message_at(entries[0], place) if entries else None
            answer = Answer() if message is None else await self._tell(hook, message)
            rest = tuple(f for f in hook.failed if f[:2] != (seq, place))
            hook.failed = rest if answer.good else (*rest, (seq, place, answer.why))
            self._soon_noted(hook)

    async def _tell(self, hook: Hook, message: Message) -> Answer:
        assert self._client is not None
        answer = await post(self._client, hook.config, self._folder, self._writer.state, message, self._wall())
        stands, name = hook.standing, hook.config["name"]
        if answer.good:
            for alarm in (f"webhook/{name}", f"{GIVEN_UP}/{name}"):
                if alarms.stands(self._writer.state, alarm):
                    self._report(alarm)
            stands.failures, stands.why, stands.since = 0, "", None
            stands.told += 1
            stands.last = self._writer.clock.stamp()
            return answer
        stands.failures += 1
        stands.why = answer.why
        stands.since = stands.since or self._writer.clock.stamp()
        log.warning("webhook", webhook=name, failures=stands.failures, why=answer.why)
        if stands.failures == ALARM_TRIES:
            self._report(f"webhook/{name}", f"webhook {name} cannot be told what happens: {answer.why}")
        return answer

    # Putting down

    def _report(self, alarm: str, text: str = "") -> None:
        self._writer.surely(ReportTrouble(BY, alarm, text))

    def _given_up(self, name: str, message: Message, why: str) -> None:
        """Somebody has to know, as nobody asks again by itself. Over when anything is taken again."""
        alarm = f"{GIVEN_UP}/{name}"
        # A receiver that refuses to hear of this very alarm would else raise it for ever.
        if getattr(message.event, "alarm", None) != alarm:
            again = f"see to the receiver; POST /api/v1/webhooks/{name}/replay then sends it again"
            self._report(alarm, f"webhook {name} was not told entry {message.seq}, which is put aside: {why}; {again}")

    def _soon(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._chores.add(task)
        task.add_done_callback(self._chores.discard)

    def _soon_noted(self, hook: Hook) -> None:
        self._notes.add(hook.config["name"])
        if self._noting is None:
            self._noting = self._writer.clock.call_at(self._writer.clock.stamp() + NOTE_S, self._note_all)

    def _note_all(self) -> None:
        self._noting = None
        names, self._notes = self._notes, set()
        for name in names:
            self._soon(self._note(name))

    async def _note(self, name: str) -> None:
        hook = self._hooks.get(name)
        if hook is None or self._writer.stopped:
            return
        upto = hook.upto
        try:
            await self._writer.submit(NoteTold(BY, name, upto, hook.failed))
            hook.noted = upto
        except (OurFault, CallerFault) as error:
            # Nothing is lost: it is told once more after a restart.
            log.warning("webhook", webhook=name, error=f"not put down: {error}")

    # For people

    def status(self) -> list[Data]:
        """How each webhook stands."""
        return [self._shown(hook) for hook in self._hooks.values()]

    def _shown(self, hook: Hook) -> Data:
        stands = hook.standing
        return {
            "webhook": hook.config["name"],
            "url": shown_url(hook.config["url"]),
            "events": list(hook.config["events"]),
            "told_upto": hook.upto,
            "head": self._writer.engine.seq,
            "told": stands.told,
            "last_told": None if stands.last is None else rfc3339(stands.last),
            "failures": stands.failures,
            "failing_since": None if stands.since is None else rfc3339(stands.since),
            "why": stands.why or None,
            "next_try": None if stands.waits is None else rfc3339(stands.waits),
            "failed": [{"seq": seq, "place": place, "why": why} for seq, place, why in hook.failed],
        }

    def replay(self, name: str, after: int | None = None) -> Data:
        """Send again what was put aside, or with ``after`` everything behind that position. The ids stay the same."""
        require("webhook", name, self._hooks)
        hook = self._hooks[name]
        if after is None:
            hook.again = list(hook.failed)
            hook.bell.ring()
            return {"webhook": name, "again": len(hook.again), "after": None}
        if not 0 <= after <= self._writer.engine.seq:
            head = self._writer.engine.seq
            raise BadValue("after", f"{after} is no position of the journal; the newest is {head}", maximum=head)
        if hook.task is not None:
            hook.task.cancel()
        self._begin(name, hook.config, after, ())
        self._soon_noted(self._hooks[name])
        return {"webhook": name, "again": 0, "after": after}
