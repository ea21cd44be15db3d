"""The journal of several machines: a replicated stream in NATS JetStream, and a bucket of snapshots.

Consensus and replication are the servers'. Each append says what the newest message must be, so that a writer that has
been replaced, or slept, cannot write. See ``batches.py`` for what a message is.
"""

from __future__ import annotations

import asyncio
import concurrent.futures
import contextlib
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple
from uuid import uuid4

import orjson
from nats.js.errors import APIError

from roomlink.core.events import Entry
from roomlink.errors import JournalDamaged, JournalFailed
from roomlink.journal import batches
from roomlink.journal.batches import BIRTH, ENTRIES, TERM, VOID, Batch
from roomlink.journal.natslink import NatsLink
from roomlink.journal.port import Snapshot
from roomlink.journal.rows import START, Row, rows_of, stored_of
from roomlink.journal.stream_history import TROUBLE, History
from roomlink.journal.stream_making import made
from roomlink.journal.stream_reading import Reading
from roomlink.journal.stream_snapshots import Snapshots

ANSWER_S = 2.0
"""How long a server may take for one request; a commit that takes longer is taken for lost."""
OBJECT_S = 30.0
"""How long a snapshot may take to go or come."""
READY_S = 20.0
"""How long a cluster of servers may take to be ready, when the journal is opened."""
BODY_BYTES_MAX = 512 * 1024
"""Batches above this go into the bucket, and the message names them: servers take 1 MiB a message by default."""
AGAIN_S = 0.2
_WRONG_LAST = 10071
"""The servers' error for an append that expected another newest message."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the servers are, how many keep a copy of each message, and who we are there."""

    servers: tuple[str, ...]
    replicas: int = 1
    node: str = "node"
    access: Mapping[str, Any] = field(default_factory=dict)
    """More for the client library: who we are, and what of the servers' certificates is believed (``natsaccess``)."""


class Rewound(JournalFailed):
    """Entries that a follower has seen count no more: voided by their writer, or gone with the servers' disks."""


class News(NamedTuple):
    """What a follower hears: the stream was followed up to the message at ``place``, which may be a writer's term."""

    place: int
    entries: list[Entry]
    term: bool


Heard = News | Rewound | JournalDamaged


class JetStreamJournal:
    """``Journal`` of ``venue`` in a stream of its own, which is made if it is not there.

    Any number of nodes may have it open to read and to ``catch_up``; one appends, after ``take_over``. Once ``lost`` is
    true another node has taken over: this one can write no more, and steps down. Raises ``JournalFailed`` where the
    servers do not answer, ``JournalDamaged`` where the stream is not whole.
    """

    def __init__(self, place: Place, venue: str) -> None:
        self.notices: list[str] = []
        self.lost = False
        self.term = 0
        """The place of our own last term: whatever an older writer has yet under way comes to nothing after it."""
        self._place, self._venue = place, venue
        self._subject, self._stream = f"roomlink.{venue}.journal", f"roomlink-{venue}"
        self._link = NatsLink(place.servers, place.node, place.access)
        self._following: concurrent.futures.Future[None] | None = None
        self._task: asyncio.Task[None] | None = None
        """What follows, in the link's own loop."""
        self._whole: tuple[int, int | None] | None = None
        """After ``Rewound``: up to which place, and to which entry, what was followed still counts."""
        self._ungiven: list[Entry] = []
        """What an attempt to take over has caught up with and, as it failed, has not given to anybody."""
        self._doubt: str | None = None
        """The batch of which nobody knows yet whether it is in the stream; it was answered as lost."""
        try:
            self._open_in_time()
        except TROUBLE as error:
            self._link.close()
            raise JournalFailed(f"the journal in NATS cannot be opened: {error or 'no answer in time'}") from error
        except BaseException:
            self._link.close()
            raise

    # ---- opening

    def _open_in_time(self) -> None:
        end = time.monotonic() + READY_S
        while True:
            try:
                return self._open()
            except TROUBLE:
                # Servers that have just started have yet to find a leader among themselves.
                if time.monotonic() > end:
                    raise
                time.sleep(AGAIN_S)

    def _open(self) -> None:
        self.notices.clear()
        self._objects = made(self._link, self._stream, self._subject, self._place.replicas, self.notices)
        self.reading = Reading(self._link, self._stream, self._subject, self._objects)
        self._snapshots = Snapshots(self._link, self._objects, self.notices)
        self._history = History(self.reading, self._snapshots)
        self.identity = self._birth()
        self._end, self._last_seq, self._last_sum = self._replayed()

    def _birth(self) -> str:
        """The identity of the journal: the first message tells it."""
        if self.reading.end() == 0:
            try:
                self._publish(BIRTH, uuid4().hex, 0, 0.0, orjson.dumps({"identity": uuid4().hex}), expect=0)
            except APIError as error:
                if error.err_code != _WRONG_LAST:
                    raise  # else another node was first, which is as good
        first = self.reading.at(1)
        if first.kind != BIRTH:
            raise JournalDamaged(f"the stream {self._stream} does not begin as a journal does: name another venue id")
        return str(first.said["identity"])

    def _replayed(self, whole: tuple[int, int | None] | None = None) -> tuple[int, int, bytes]:
        """Check the chain from the newest whole snapshot on: the last place, and the last entry's ``seq`` and sum."""
        end, upto = whole or (self.reading.end(), None)
        base = self._snapshots.newest(upto=upto, end=end)
        place, seq, total = (base[1], base[0].seq, base[0].chain) if base else (1, 0, START)
        for one in self.reading.settled(place + 1, end):
            rows = [row for row in self.reading.rows(one) if row[0] > seq]
            batches.entries(rows, seq, total)
            if rows:
                seq, total = rows[-1][0], rows[-1][3]
        return end, seq, total

    # ---- writing

    @property
    def last_seq(self) -> int:
        return self._last_seq

    @property
    def place(self) -> int:
        """How far the stream was written or followed."""
        return self._end

    def append(self, entries: Sequence[Entry]) -> None:
        rows = rows_of(entries, self._last_seq, self._last_sum)
        if not rows:
            return
        name = uuid4().hex
        try:
            self._settle()
            body = self._body(name, rows)
            self._end = self._published(ENTRIES, name, rows[-1][0], rows[-1][1], body)
        except TROUBLE as error:
            if not self._landed(name):
                raise self._failed(error) from error
        self._last_seq, self._last_sum = rows[-1][0], rows[-1][3]

    def _body(self, name: str, rows: list[Row]) -> bytes:
        body = batches.packed(rows)
        if len(body) <= BODY_BYTES_MAX:
            return body
        self._link.call(self._objects.put(f"batch-{name}", body), OBJECT_S)
        return b""

    def _published(self, kind: str, name: str, seq: int, at: float, body: bytes) -> int:
        """Append one message after ``_end``; its place. Whatever goes wrong leaves a doubt to be settled."""
        self._doubt = name
        place = self._publish(kind, name, seq, at, body, expect=self._end)
        self._doubt = None
        return place

    def _publish(self, kind: str, name: str, seq: int, at: float, body: bytes, *, expect: int) -> int:
        headers = {**batches.headers(kind, name, seq, at), "Nats-Expected-Last-Sequence": str(expect)}
        work = self._link.js.publish(self._subject, body, timeout=ANSWER_S, stream=self._stream, headers=headers)
        return self._link.call(work, ANSWER_S + 0.5, self._link.writes).seq

    def _landed(self, name: str) -> bool:
        """Whether a batch is in the stream though its answer never came; then it counts."""
        if self._doubt != name:
            return False
        try:
            tail = self.reading.tail()
        except TROUBLE:
            return False
        if tail.name == name:
            self._end, self._doubt = tail.place, None
            return True
        if tail.place != self._end:
            self.lost = True
        return False

    def _settle(self) -> None:
        """See to it that a batch in doubt does not count, whether it came through or may yet: it was answered so."""
        if self._doubt is None:
            return
        doubted, tail = self._doubt, self.reading.tail()
        if tail.place == self._end + 1 and tail.name == doubted:
            self._end = tail.place
        elif tail.place != self._end:
            self.lost = True
            raise JournalFailed(self._replaced())
        said = orjson.dumps({"batch": doubted})
        # Whatever is still under way expects an older newest message, and comes to nothing from now on.
        self._end = self._publish(VOID, doubted, self._last_seq, self._stamp(), said, expect=self._end)
        self._doubt = None

    def _stamp(self) -> float:
        return self.reading.at(self._end).at

    def _failed(self, error: Exception) -> JournalFailed:
        if isinstance(error, APIError) and error.err_code == _WRONG_LAST:
            self.lost, self._doubt = True, None
        return JournalFailed(
            self._replaced() if self.lost else f"the servers of the journal did not take it: {error!r}"
        )

    def _replaced(self) -> str:
        return f"another node writes the venue {self._venue} now"

    @property
    def shut_out(self) -> bool:
        """Whether the servers have closed the connection for good, as where what lets us in counts no more."""
        return self._link.client.is_closed

    # ---- many nodes

    def behind(self, is_so: bool) -> None:
        """Say again and again whether the writer is known to be further: then other servers are asked after a while."""
        self._link.loop.call_soon_threadsafe(lambda: self._link.follows.note(answered=not is_so))

    def catch_up(self) -> Iterator[Entry]:
        """The entries that another writer has appended since; ask again until there are none.

        Raises ``Rewound`` where entries that were given before count no more: ``read_anew``, and fold again.
        """
        end = self.reading.end()
        self._not_before(end)
        for one in self.reading.settled(self._end + 1, end):
            yield from self._followed(one, self.reading.rows(one))
        self._end = max(self._end, end)

    def _not_before(self, end: int) -> None:
        """Raises ``Rewound`` for a stream that ends before what was followed: all servers lost their newest."""
        if end < self._end:
            self._whole = end, None
            raise Rewound(f"the servers have lost what came after message {end}: fold again")

    def _followed(self, one: Batch, rows: list[Row]) -> list[Entry]:
        """The entries of the next message; from now on they are the newest."""
        if one.kind == VOID and one.seq < self._last_seq:
            self._whole = one.place, one.seq
            raise Rewound("the last entries were voided by the writer who appended them: fold again")
        found = batches.entries(rows, self._last_seq, self._last_sum)
        if rows:
            self._last_seq, self._last_sum = rows[-1][0], rows[-1][3]
        self._end = one.place
        return found

    def read_anew(self) -> None:
        """After ``Rewound``: stand at the last of what still counts; what came after it is to be followed.

        Raises ``JournalFailed`` or ``JournalDamaged``.
        """
        try:
            self._end, self._last_seq, self._last_sum = self._replayed(self._whole)
            self._whole, self._ungiven = None, []
        except TROUBLE as error:
            raise JournalFailed(f"the journal could not be read: {error!r}") from error

    def follow(self, heard: Callable[[Heard], object]) -> None:
        """Call ``heard`` with each message that another writer appends, from a thread of the journal's own.

        After an error nothing more comes: ``Rewound``, or ``JournalDamaged`` where an entry is not whole or comes from
        a version that this one does not understand. Until ``unfollow`` nothing may be asked of the journal but to read.
        """
        if self._following is None or self._following.done():
            self._following = asyncio.run_coroutine_threadsafe(self._follow(heard), self._link.loop)

    def unfollow(self) -> None:
        """Hear nothing more; returns when that is so, else raises ``JournalFailed``."""
        if self._following is not None:
            try:
                self._link.call(self._followed_no_more(), ANSWER_S)
            except TimeoutError as error:
                raise JournalFailed("the journal is followed yet, and cannot be written meanwhile") from error
            self._following = None

    async def _followed_no_more(self) -> None:
        """End the task itself: the future of another thread is cancelled before what it stands for has ended.

        Again and again: ``asyncio.wait_for`` of 3.11, in which it waits, may forget being cancelled.
        """
        while self._task is not None and not self._task.done():
            self._task.cancel()
            await asyncio.wait((self._task,), timeout=AGAIN_S)

    async def _follow(self, heard: Callable[[Heard], object]) -> None:
        self._task = asyncio.current_task()
        if self._ungiven:
            given, self._ungiven = self._ungiven, []
            heard(News(self._end, given, term=False))
        while True:
            try:
                async for one in self.reading.coming(self._end + 1):
                    body = one if one.body else one._replace(body=await self.reading.large(one))
                    heard(News(one.place, self._followed(one, batches.rows_in(body)), one.kind == TERM))
                # A server that is cut off may tell an old end; it would not have made a reader, as this one just did.
                self._not_before(await self.reading.ends())
            except (Rewound, JournalDamaged) as ends:
                heard(ends)
                return
            except TROUBLE:
                await asyncio.sleep(AGAIN_S)
            except Exception as bug:  # one that stands still without a word would show for ever what is old
                heard(JournalDamaged(f"what is written cannot be followed: {bug!r}"))
                return

    def take_over(self, term: str) -> list[Entry]:
        """Become the one who appends: nobody who did before can from now on. Gives the entries not caught up with.

        Raises ``JournalFailed`` where the servers do not answer, or others write at this very moment: ask again.
        """
        said = orjson.dumps({"node": self._place.node, "term": term})
        try:
            for entry in self.catch_up():
                self._ungiven.append(entry)
            self._end = self._publish(TERM, term, self._last_seq, self._stamp(), said, expect=self._end)
        except TROUBLE as error:
            # If it came through after all, it counts like any other message: the next attempt catches up with it.
            raise JournalFailed(f"the journal could not be taken over: {error!r}") from error
        self.lost, self._doubt, self.term = False, None, self._end
        if self._snapshots.ahead:
            with contextlib.suppress(*TROUBLE):
                self._snapshots.drop_after(self._end)
        found, self._ungiven = self._ungiven, []
        return found

    # ---- reading

    def entries(self, after: int = 0, upto: int | None = None) -> Iterator[Entry]:
        last = self._last_seq if upto is None else min(upto, self._last_seq)
        return self._history.entries(max(after, 0), last, self._end)

    def seq_at(self, at: float) -> int:
        return self._history.seq_at(at, self._end)

    # ---- snapshots

    def save(self, snapshot: Snapshot) -> None:
        if not 1 <= snapshot.seq <= self._last_seq:
            raise ValueError(f"a snapshot of entry {snapshot.seq} was given, and the newest entry is {self._last_seq}")
        try:
            place, total = self._sum_of(snapshot.seq)
            self._snapshots.put(stored_of(snapshot, total), place)
        except TROUBLE as error:
            raise JournalFailed(f"the snapshot could not be kept: {error!r}") from error

    def _sum_of(self, seq: int) -> tuple[int, bytes]:
        """The place after which nothing is in entry ``seq``, and the entry's sum."""
        for one in self.reading.settled(self.reading.place_of(seq, self._end), self._end):
            for row in self.reading.rows(one):
                if row[0] == seq:
                    # A batch that ends later is read again whole, and its first entries passed over.
                    return one.place - (one.seq != seq), row[3]
        raise JournalDamaged(f"entry {seq} is not in the stream")

    def snapshot_before(self, at: float | None = None, upto: int | None = None) -> Snapshot | None:
        return self._history.snapshot_before(at, upto)

    def close(self) -> None:
        with contextlib.suppress(JournalFailed):  # its loop ends all the same
            self.unfollow()
        self._link.close()
