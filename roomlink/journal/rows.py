"""What a stored journal is made of: bodies, the chain of sums over them, sealed snapshots. Pure.

Each entry's sum covers the sum before it, its ``seq``, its stamp and its body. So one altered, swapped or missing
entry breaks the chain at that very place, and the chain can be checked from any sum that is trusted.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from hashlib import blake2b
from typing import Any, NamedTuple

import orjson

from roomlink.core.events import Entry, decode, decode_entry, encode, encode_entry
from roomlink.errors import JournalDamaged
from roomlink.journal.port import Snapshot

# The newest snapshots are for starting again; of the older ones, for looking back, the last of each day is enough.
SNAPSHOTS_NEWEST_KEPT = 8
SNAPSHOT_THINNED_PER_S = 86400.0

SUM_BYTES = 16
START = bytes(SUM_BYTES)
"""The sum before the first entry."""

Row = tuple[int, float, bytes, bytes]
"""``seq``, stamp, body and sum of an entry, as stored."""

_PLACE = struct.Struct(">qd")


def link(before: bytes, seq: int, at: float, body: bytes) -> bytes:
    """The sum of what comes after ``before`` in the chain."""
    return blake2b(before + _PLACE.pack(seq, at) + body, digest_size=SUM_BYTES).digest()


def follows(row: tuple[Any, ...], seq: int, before: bytes) -> bool:
    """Whether ``row``, as it came from the disk, is the whole entry ``seq`` after the sum ``before``."""
    found, at, body, total = row
    # A damaged page can give a column any type at all.
    typed = isinstance(at, float) and isinstance(body, bytes)
    return typed and found == seq and link(before, seq, at, body) == total


class Stored(NamedTuple):
    """A snapshot as it lies on the disk: ``chain`` is the sum of its entry, ``sum`` its own."""

    seq: int
    at: float
    body: bytes
    chain: bytes
    sum: bytes

    @property
    def whole(self) -> bool:
        row = (self.seq, self.at, self.body, self.sum)
        return isinstance(self.chain, bytes) and follows(row, self.seq, self.chain)


def stored_of(snapshot: Snapshot, chain: bytes) -> Stored:
    """``snapshot`` as it is stored. Raises ValueError for what JSON cannot hold."""
    try:
        # The lightest compression: the journal takes no entries meanwhile.
        body = zlib.compress(orjson.dumps([encode(event) for event in snapshot.events]), 1)
    except TypeError as error:
        raise ValueError(f"the snapshot of entry {snapshot.seq} is not plain JSON data: {error}") from error
    return Stored(snapshot.seq, snapshot.at, body, chain, link(chain, snapshot.seq, snapshot.at, body))


def snapshot_of(stored: Stored) -> Snapshot | None:
    """The snapshot of a whole ``Stored``; None if this version cannot understand it."""
    try:
        events = tuple(decode(event) for event in orjson.loads(zlib.decompress(stored.body)))
    except (KeyError, TypeError, ValueError, zlib.error):
        return None
    return Snapshot(stored.seq, stored.at, events)


def rows_of(entries: Iterable[Entry], last_seq: int, last_sum: bytes) -> list[Row]:
    """Rows to store after ``last_seq``. Raises ValueError for a hole in ``seq`` or what JSON cannot hold."""
    rows: list[Row] = []
    seq, total = last_seq, last_sum
    for entry in entries:
        seq += 1
        if entry.seq != seq:
            raise ValueError(f"entry {entry.seq} was given where {seq} comes next")
        try:
            body = orjson.dumps(encode_entry(entry))
        except TypeError as error:
            raise ValueError(f"entry {seq} is not plain JSON data: {error}") from error
        total = link(total, seq, entry.at, body)
        rows.append((seq, entry.at, body, total))
    return rows


def entry_of(body: bytes) -> Entry:
    """The entry of a body whose sum was right. Raises JournalDamaged if this version cannot understand it."""
    try:
        return decode_entry(orjson.loads(body))
    except (KeyError, TypeError, ValueError) as error:
        raise JournalDamaged(
            f"an entry is whole but cannot be understood ({error!r}); it may come from a newer version: use that one"
        ) from error


def surplus(taken: Iterable[tuple[int, Any]]) -> list[int]:
    """Which snapshots can go, of (``seq``, stamp) given newest first."""
    gone: list[int] = []
    days: set[float] = set()
    for place, (seq, at) in enumerate(taken):
        if not isinstance(at, float):
            continue  # damaged: whoever reads it says so
        day = at // SNAPSHOT_THINNED_PER_S
        if place >= SNAPSHOTS_NEWEST_KEPT and day in days:
            gone.append(seq)
        days.add(day)
    return gone
