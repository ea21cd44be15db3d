"""Reading a journal's stream: by place, by entry, by time; what was voided is passed over."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable, Generator, Iterator

import nats.errors
from nats.js.api import AckPolicy, ConsumerConfig, DeliverPolicy
from nats.js.errors import NotFoundError
from nats.js.object_store import ObjectStore

from roomlink.errors import JournalDamaged
from roomlink.journal import batches
from roomlink.journal.batches import VOID, Batch
from roomlink.journal.natslink import NatsLink
from roomlink.journal.rows import Row

ANSWER_S = 2.0
OBJECT_S = 30.0
FETCHED_MAX = 500
QUIET_S = 0.5
"""After so long without news a reader asks whether it has missed some."""


class Reading:
    """What is in the stream ``name``, as its leader has it. Errors are those of the client library."""

    def __init__(self, link: NatsLink, name: str, subject: str, objects: ObjectStore) -> None:
        self._link, self._name, self._subject, self._objects = link, name, subject, objects

    def end(self) -> int:
        """The place of the newest message; 0 if there is none."""
        return self._link.call(self.ends(), ANSWER_S)

    async def ends(self) -> int:
        """The same, to be awaited in the link's own loop."""
        return int((await self._link.asked(self._link.js.stream_info(self._name))).state.last_seq)

    def at(self, place: int) -> Batch:
        """The message at a place. Raises JournalDamaged if it is gone."""
        try:
            found = self._link.call(self._link.js.get_msg(self._name, seq=place), ANSWER_S)
        except NotFoundError:
            raise JournalDamaged(f"message {place} of the stream {self._name} is gone: restore a backup") from None
        return batches.batch(place, found.headers, found.data or b"")

    def tail(self) -> Batch:
        return self.at(self.end())

    def rows(self, one: Batch) -> list[Row]:
        """The rows of a batch of entries; none of any other message."""
        whole = one if one.body else one._replace(body=self._link.call(self.large(one), OBJECT_S))
        return batches.rows_in(whole)

    async def large(self, one: Batch) -> bytes:
        """The body of a batch that was too large for its message."""
        return (await self._objects.get(f"batch-{one.name}")).data or b""

    async def coming(self, first: int) -> AsyncIterator[Batch]:
        """The messages from place ``first`` on, as they become durable, without a gap; ends where one must ask anew.

        To be used in the link's own loop.
        """
        config = ConsumerConfig(deliver_policy=DeliverPolicy.BY_START_SEQUENCE, opt_start_seq=max(first, 1))
        js, place = self._link.js, first - 1
        reader = await js.subscribe(self._subject, stream=self._name, ordered_consumer=True, config=config)
        try:
            while True:
                try:
                    message = await reader.next_msg(timeout=QUIET_S)
                except nats.errors.TimeoutError:
                    # A consumer that died with its server says nothing: the stream tells whether there is news.
                    if await self.ends() != place:
                        return
                    continue
                found = message.metadata.sequence.stream
                if found <= place:
                    continue
                if found != place + 1:
                    return
                place = found
                yield batches.batch(place, message.headers, message.data)
        finally:
            with contextlib.suppress(nats.errors.Error):
                await reader.unsubscribe()

    def settled(self, first: int, last: int) -> Iterator[Batch]:
        """The messages from place ``first`` up to ``last`` that count."""
        held: Batch | None = None
        for one in self._messages(first, last):
            if one.kind == VOID and held is not None and held.name == one.name:
                held = None
            if held is not None:
                yield held
            held = one
        if held is not None:
            yield held

    def _messages(self, first: int, last: int) -> Iterator[Batch]:
        """Without a gap: where some were lost on their way, with a connection, they are asked for anew."""
        place = max(first, 1) - 1
        while place < last:
            before = place
            with contextlib.closing(self._fetched(place + 1, last)) as fetched:
                try:
                    for one in fetched:
                        if one.place != place + 1:
                            break
                        place = one.place
                        yield one
                except (nats.errors.Error, TimeoutError):
                    if place == before:
                        raise
                    continue
            if place == before:
                raise JournalDamaged(f"message {place + 1} of the stream {self._name} is gone: restore a backup")

    def _fetched(self, first: int, last: int) -> Generator[Batch, None, None]:
        """The same as a server sends them: what it has sent once it does not send again, whether it came or not."""
        config = ConsumerConfig(
            deliver_policy=DeliverPolicy.BY_START_SEQUENCE,
            opt_start_seq=first,
            ack_policy=AckPolicy.NONE,
            inactive_threshold=10.0,
            mem_storage=True,
            num_replicas=1,
        )
        js, link = self._link.js, self._link
        reader = link.call(js.pull_subscribe(self._subject, stream=self._name, config=config), 5.0)
        try:
            place = first - 1
            while place < last:
                for message in link.call(reader.fetch(min(FETCHED_MAX, last - place), ANSWER_S), 2 * ANSWER_S):
                    place = message.metadata.sequence.stream
                    yield batches.batch(place, message.headers, message.data)
        finally:
            with contextlib.suppress(nats.errors.Error, TimeoutError):
                link.call(reader.unsubscribe(), ANSWER_S)

    def place_of(self, seq: int, end: int) -> int:
        """A place at or before that of entry ``seq``, and after that of ``seq - 1`` where this is not in one batch."""
        return self._first(end, lambda one: one.seq >= seq)

    def place_at(self, at: float, end: int) -> int:
        """The place from which on stamps may be after ``at``, or the last one."""
        return self._first(end, lambda one: one.at > at)

    def _first(self, end: int, yes: Callable[[Batch], bool]) -> int:
        """The first place up to ``end`` for which ``yes``; ``end`` if there is none. A voided batch may be found."""
        low, high = 1, end
        while low < high:
            middle = (low + high) // 2
            if yes(self.at(middle)):
                high = middle
            else:
                low = middle + 1
        return low
