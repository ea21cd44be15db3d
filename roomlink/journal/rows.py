"""What a stored journal is made of: bodies, the chain of sums over them, sealed snapshots. Pure.

Each entry's sum covers the sum before it, its ``seq``, its stamp and its body. So one altered, swapped or missing
entry breaks the chain at that very place, and the chain can be checked from any sum that is trusted. An entry that
stands for several (``compaction``) keeps the sum of the last of them, and bears a seal of its own.
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
_SPAN = struct.Struct(f">qqd{SUM_BYTES}s{SUM_BYTES}s")
_SPANS = b"\0spans\0"
"""How the body of an entry begins that stands for several; JSON never does."""
SPAN_BYTES = len(_SPANS) + _SPAN.size
"""So much of a body tells for which entries it stands."""


class Span(NamedTuple):
    """For what an entry stands: ``entries`` from ``first`` on, stamped from ``since`` on, behind the sum ``before``."""

    first: int
    entries: int
    since: float
    before: bytes
    seal: bytes = b""

    @classmethod
    def of(cls, body: Any) -> Span | None:
        """What (the beginning of) a body says; None for the body of an entry that stands for itself."""
        if not isinstance(body, bytes) or not body.startswith(_SPANS) or len(body) < SPAN_BYTES:
            return None
        return cls(*_SPAN.unpack_from(body, len(_SPANS)))


def sealed(span: Span, seq: int, at: float, total: bytes, content: bytes) -> bytes:
    """The body of the entry ``seq`` that stands for ``span``, after which the chain goes on from ``total``."""
    return _SPANS + _SPAN.pack(*span[:4], _seal(span, seq, at, total, content)) + content


def _seal(span: Span, seq: int, at: float, total: bytes, content: bytes) -> bytes:
    place = _PLACE.pack(span.first, span.since) + _PLACE.pack(span.entries, 0.0)
    return link(span.before + place + total, seq, at, content)


def link(before: bytes, seq: int, at: float, body: bytes) -> bytes:
    """The sum of what comes after ``before`` in the chain."""
    return blake2b(before + _PLACE.pack(seq, at) + body, digest_size=SUM_BYTES).digest()


def follows(row: tuple[Any, ...], seq: int, before: bytes) -> bool:
    """Whether ``row``, as it came from the disk, is (or stands for) the whole entry ``seq`` behind ``before``."""
    found, at, body, total = row
    # A damaged page can give a column any type at all.
    if not isinstance(at, float) or not isinstance(body, bytes):
        return False
    span = Span.of(body)
    if span is None:
        return bool(found == seq and link(before, seq, at, body) == total)
    whole = isinstance(total, bytes) and _seal(span, found, at, total, body[SPAN_BYTES:]) == span.seal
    # Whoever begins in the middle of what it stands for knows no sum there.
    return bool(whole and span.first <= seq <= found and (span.first < seq or span.before == before))


def first_of(row: tuple[Any, ...]) -> int:
    """The first entry that a row (``seq`` and at least the beginning of its body) stands for."""
    span = Span.of(row[1])
    return int(row[0]) if span is None else span.first


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
    content = body if Span.of(body) is None else body[SPAN_BYTES:]
    try:
        return decode_entry(orjson.loads(content))
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
