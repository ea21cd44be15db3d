"""The snapshots beside a journal's stream, in a bucket of objects."""

from __future__ import annotations

from nats.js.api import ObjectMeta
from nats.js.errors import NotFoundError
from nats.js.object_store import ObjectStore

from roomlink.journal.natslink import NatsLink
from roomlink.journal.rows import Stored, surplus

_PREFIX = "snapshot-"
ANSWER_S, OBJECT_S = 2.0, 30.0


def _name(seq: int) -> str:
    return f"{_PREFIX}{seq:020}"


class Snapshots:
    """Whole snapshots, newest first. What is damaged is passed over and told in ``notices``."""

    def __init__(self, link: NatsLink, objects: ObjectStore, notices: list[str]) -> None:
        self._link, self._objects, self._notices = link, objects, notices
        self.ahead = False
        """Whether there were some of entries that the stream does not have."""

    def put(self, stored: Stored, place: int) -> None:
        """Keep one; ``place`` is that in the stream after which nothing is in it. Older ones are thinned out."""
        told = {"at": repr(stored.at), "chain": stored.chain.hex(), "sum": stored.sum.hex(), "place": str(place)}
        self._link.call(self._objects.put(_name(stored.seq), stored.body, ObjectMeta(headers=told)), OBJECT_S)
        for seq in surplus([(seq, float(told["at"])) for seq, told in self._infos()]):
            self._link.call(self._objects.delete(_name(seq)), ANSWER_S)

    def newest(
        self, at: float | None = None, upto: int | None = None, end: int | None = None
    ) -> tuple[Stored, int] | None:
        """The newest with a stamp of at most ``at`` and a ``seq`` of at most ``upto``, and its place in the stream.

        ``end`` is that of the stream, if known: one from behind it is passed over.
        """
        for seq, told in self._infos():
            stamp = float(told["at"])
            if end is not None and int(told["place"]) > end:
                self.ahead = True
                continue
            if (at is not None and stamp > at) or (upto is not None and seq > upto):
                continue
            body = self._link.call(self._objects.get(_name(seq)), OBJECT_S).data or b""
            stored = Stored(seq, stamp, body, bytes.fromhex(told["chain"]), bytes.fromhex(told["sum"]))
            if stored.whole:
                return stored, int(told["place"])
            self._notices.append(f"The snapshot of entry {seq} is damaged: an older one was taken, nothing is lost.")
        return None

    def drop_after(self, end: int) -> None:
        """As the writer, who knows that the stream ends there: those from behind it are of what the servers lost."""
        for seq, told in self._infos():
            if int(told["place"]) > end:
                self._link.call(self._objects.delete(_name(seq)), ANSWER_S)
                self._notices.append(
                    f"The snapshot of entry {seq} is newer than the stream, whose end the servers have lost: the venue"
                    " goes on from an earlier state. Look at the walls and at what feeds power and motion."
                )
        self.ahead = False

    def _infos(self) -> list[tuple[int, dict[str, str]]]:
        """By ``seq``, newest first, what is told of each."""
        try:
            infos = self._link.call(self._objects.list(ignore_deletes=True), OBJECT_S)
        except NotFoundError:
            return []
        found = {int(i.name.removeprefix(_PREFIX)): dict(i.headers or {}) for i in infos if i.name.startswith(_PREFIX)}
        return sorted(found.items(), reverse=True)
