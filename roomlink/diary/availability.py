"""When zones are taken and when they are free: free-busy as plain data. Nobody's title is in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from roomlink.core.bookings import Occurrence
from roomlink.core.clashes import between
from roomlink.core.state import State

FBTYPES = {"confirmed": "BUSY", "tentative": "BUSY-TENTATIVE"}
"""Status to free-busy type, RFC 5545 §3.2.9; a cancelled booking takes no time."""


@dataclass(frozen=True, slots=True)
class Busy:
    """A half-open time, in stamps, for which a zone is taken. ``kind`` is BUSY or BUSY-TENTATIVE."""

    start: float
    end: float
    kind: str


def busy(state: State, zones: Iterable[str], start: float, end: float) -> dict[str, list[Busy]]:
    """By zone, when it is taken within ``[start, end)``, set-up and clear-down included; what touches is one time."""
    return {zone: merged(_spells(between(state, start, end, (zone,)), start, end)) for zone in zones}


def _spells(occurrences: Iterable[tuple[str, Occurrence]], start: float, end: float) -> list[Busy]:
    return [
        Busy(max(one.begins, start), min(one.over, end), FBTYPES[one.status])
        for _, one in occurrences
        if one.counts and one.status in FBTYPES
    ]


def merged(spells: Sequence[Busy]) -> list[Busy]:
    """Times of one kind that touch or overlap, as one; in order."""
    found: list[Busy] = []
    for one in sorted(spells, key=lambda b: (b.start, b.end, b.kind)):
        last = found[-1] if found else None
        if last is not None and last.kind == one.kind and one.start <= last.end:
            found[-1] = Busy(last.start, max(last.end, one.end), last.kind)
        else:
            found.append(one)
    return found


def free(spells: Sequence[Busy], start: float, end: float) -> list[tuple[float, float]]:
    """What of ``[start, end)`` none of ``spells`` takes."""
    found = []
    at = start
    for one in sorted(spells, key=lambda b: b.start):
        if one.start > at:
            found.append((at, min(one.start, end)))
        at = max(at, one.end)
    if at < end:
        found.append((at, end))
    return found
