"""Making old level chatter small, so that a venue that runs for years does not fill its disk. Pure.

A run of entries in which nothing but levels moved is replaced by one: it bears the place and the sum of the last of
them and holds what they came to, so that every state after it is what it was, and the chain of sums goes on. Its seal
covers the sum before the first, so that it can be checked like any entry. Bookings, access, arming, commissioning,
alarms, overrides, links, walls, scenes, choices and switches are never touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import orjson

from roomlink.core.divisions import UsedByHand
from roomlink.core.events import Answered, ControlSet, Entry, Event, HandSet, HoldBegan, HoldEnded, encode_entry
from roomlink.core.records import Level
from roomlink.errors import JournalDamaged
from roomlink.journal.rows import Row, Span, entry_of, follows, sealed

CHATTER = frozenset({"Act", "LetGo", "ReportControl", "Wake"})
"""The commands by which levels move a little and often; a recalled scene or a booking's is no chatter."""
RUN_LEAST = 2


@dataclass(frozen=True, slots=True)
class Run:
    """Entries ``first`` to ``row[0]`` give way to ``row``."""

    first: int
    row: Row


def is_chatter(entry: Entry) -> bool:
    """Whether nothing but levels moved in ``entry``, and by hand, report or clock."""
    events = entry.events
    return (
        entry.did.get("command") in CHATTER
        and any(type(event) is ControlSet for event in events)
        and all(
            type(event.now) is Level
            if type(event) is ControlSet
            else type(event) in (HandSet, HoldBegan, HoldEnded, Answered, UsedByHand)
            for event in events
        )
    )


def merged(entries: Sequence[Entry]) -> Entry:
    """One entry that leaves the state as ``entries`` do, at the place and stamp of the last of them."""
    first, last = entries[0], entries[-1]
    did = {"command": "Compacted", "entries": len(entries), "first": first.seq, "since": first.at}
    return Entry(last.seq, last.at, "service", "service", did, _net([e for entry in entries for e in entry.events]))


def _net(events: Sequence[Event]) -> tuple[Event, ...]:
    """Of each control and hand the last word, in the place of the first; what was held and let go within is gone."""
    last: dict[Any, tuple[int, Event]] = {}
    holds: dict[str, list[int]] = {}
    left: dict[str, set[str]] = {}
    for place, event in enumerate(events):
        if isinstance(event, ControlSet):
            key: Any = ("control", event.zone, event.control)
            last[key] = (last.get(key, (place,))[0], event)
        elif isinstance(event, HandSet):
            key = ("hand", event.controller, event.control)
            last[key] = (last.get(key, (place,))[0], event)
        elif isinstance(event, UsedByHand):
            key = ("used", event.zones)
            last[key] = (last.get(key, (place,))[0], event)
        elif isinstance(event, HoldBegan | HoldEnded):
            holds.setdefault(event.hold, []).append(place)
            if isinstance(event, HoldBegan):
                left[event.hold] = set(event.now.zones)
            elif event.hold in left:
                left[event.hold] -= set(event.zones)
                if not left[event.hold]:
                    del left[event.hold], holds[event.hold]
        else:
            last[place] = (place, event)
    kept = dict([*last.values(), *((place, events[place]) for places in holds.values() for place in places)])
    return tuple(kept[place] for place in sorted(kept))


def runs(rows: Sequence[Row], total: bytes, older: float, ends: Iterable[int]) -> tuple[list[Run], int, bytes]:
    """What can give way in ``rows``, which come after the sum ``total``: only what is stamped before ``older``.

    No run goes on over a place in ``ends`` (there a snapshot lies). Gives the runs, and how far was looked: the place
    and sum of the last row that need not be looked at again. What is damaged or not understood is left as it is.
    """
    found: list[Run] = []
    run: list[Entry] = []
    begin = before = total
    stops = set(ends)
    seq = 0

    def close() -> None:
        if len(run) >= RUN_LEAST:
            one = merged(run)
            span = Span(run[0].seq, len(run), run[0].at, begin)
            body = sealed(span, one.seq, one.at, before, orjson.dumps(encode_entry(one)))
            found.append(Run(run[0].seq, (one.seq, one.at, body, before)))
        run.clear()

    for row in rows:
        if isinstance(row[1], float) and row[1] >= older:
            break
        entry = _chatter(row, before)
        if entry is None or (run and entry.seq != seq + 1):
            close()
        if entry is not None:
            begin = begin if run else before
            run.append(entry)
        # A damaged page can give a column any type at all.
        seq, before = row[0], row[3] if isinstance(row[3], bytes) else b""
        if seq in stops:
            close()
    close()
    return found, seq, before


def _chatter(row: Row, before: bytes) -> Entry | None:
    """The entry of ``row`` if it is whole chatter that was not made small before."""
    if Span.of(row[2]) is not None or not follows(row, row[0], before):
        return None
    try:
        entry = entry_of(row[2])
    except JournalDamaged:
        return None
    return entry if is_chatter(entry) else None
