"""What goes into a replicated stream: a message for each batch of entries, there whole or not at all. Pure.

A message is a head (one line of JSON) and the bodies of its entries. Its headers tell the position and the stamp at its
end, so that a place in the stream can be found without reading what lies before it.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import orjson

from roomlink.core.events import Entry
from roomlink.errors import JournalDamaged
from roomlink.journal.rows import Row, entry_of, follows

BIRTH, ENTRIES, TERM, VOID = "birth", "entries", "term", "void"
"""A stream begins with its birth; entries follow, terms of writers, and voids of batches that were answered as lost."""
KIND, BATCH, SEQ, AT = "Roomlink-Kind", "Roomlink-Batch", "Roomlink-Seq", "Roomlink-At"


class Batch(NamedTuple):
    """One message of the stream, at ``place``. ``seq`` and ``at`` are those of the newest entry up to it."""

    place: int
    kind: str
    name: str
    seq: int
    at: float
    body: bytes

    @property
    def said(self) -> dict[str, Any]:
        """What a birth, term or void says."""
        data: dict[str, Any] = orjson.loads(self.body)
        return data


def headers(kind: str, name: str, seq: int, at: float) -> dict[str, str]:
    return {KIND: kind, BATCH: name, SEQ: str(seq), AT: repr(at)}


def batch(place: int, given: Mapping[str, str] | None, body: bytes) -> Batch:
    """A message as it came. Raises JournalDamaged for one that is not of a journal."""
    try:
        found = given or {}
        return Batch(place, found[KIND], found[BATCH], int(found[SEQ]), float(found[AT]), body)
    except (KeyError, ValueError) as error:
        raise JournalDamaged(f"message {place} of the stream is none of a journal's: {error!r}") from error


def packed(rows: Sequence[Row]) -> bytes:
    head = orjson.dumps([[seq, at, len(body), total.hex()] for seq, at, body, total in rows])
    return zlib.compress(head + b"\n" + b"".join(body for _, _, body, _ in rows), 1)


def unpacked(body: bytes) -> list[Row]:
    """The rows of a batch of entries. Raises JournalDamaged if it is not whole."""
    try:
        head, _, bodies = zlib.decompress(body).partition(b"\n")
        rows, start = [], 0
        for seq, at, length, total in orjson.loads(head):
            rows.append((seq, at, bodies[start : start + length], bytes.fromhex(total)))
            start += length
        return rows
    except (ValueError, TypeError, zlib.error) as error:
        raise JournalDamaged(f"a batch of the stream cannot be read: {error}") from error


def rows_in(one: Batch) -> list[Row]:
    """The rows of a batch of entries; none of any other message."""
    return unpacked(one.body) if one.kind == ENTRIES else []


def entries(rows: Sequence[Row], seq: int, total: bytes | None) -> list[Entry]:
    """The entries of ``rows``, which come after ``seq`` with its sum ``total``; else raises JournalDamaged.

    ``total`` None: it is not known, and the first is believed.
    """
    found = []
    for row in rows:
        if not (row[0] == seq + 1 if total is None else follows(row, seq + 1, total)):
            raise JournalDamaged(
                f"entry {seq + 1} of the replicated journal is damaged or missing: restore the venue from a backup"
            )
        found.append(entry_of(row[2]))
        seq, total = row[0], row[3]
    return found
