"""The turn list: which walls the crews have to move for what is booked, in which times. Reads only, but for ticks.

A booking asks every wall that its zones touch: open between two of them, closed on their edge. A wall is moved where
what is asked of it changes along its bookings, and nowhere else, so that the moves are as few as can be. One is listed
with the date that asks for it, and is to be over when the guests come.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from roomlink import limits
from roomlink.core.bookings import MoveTicked, Occurrence, OccurrenceKey, Tick, TickDropped, key_of, start_of
from roomlink.core.checks import require
from roomlink.core.commands import TickMove
from roomlink.core.diary_apply import overlapping
from roomlink.core.instants import day_of, of_day, rfc3339
from roomlink.core.spec import Spec
from roomlink.core.state import Draft, State
from roomlink.core.walls import STATED
from roomlink.errors import BadValue, Refused, UnknownName

_Order = tuple[float, str, str]
"""(start, booking, key): dates that ask one wall for different positions lie one after the other in this order."""


@dataclass(frozen=True, slots=True)
class Move:
    """A wall is to be moved ``to`` a position within ``[not_before, not_after]`` (stamps; None: since ever).

    ``key`` is that of ``not_after``: a wall is asked for one position at a time, so that it names the move. ``booking``
    and ``occurrence`` ask for it until ``until``, when their guests go. ``known`` is when it was first asked for.
    """

    partition: str
    key: str
    start: str
    to: str
    not_before: float | None
    not_after: float
    until: float
    minutes: float
    booking: str
    occurrence: str
    known: float

    @property
    def name(self) -> tuple[str, str]:
        return self.partition, self.key

    @property
    def asked(self) -> tuple[Any, ...]:
        """What has to be done, whoever it is for."""
        return self.partition, self.to, self.not_before, self.not_after, self.minutes


@dataclass(frozen=True, slots=True)
class Turn:
    """What one date of a booking asks for before it."""

    booking: str
    one: Occurrence
    moves: tuple[Move, ...]


def wall_asked(spec: Spec, wall: str, zones: tuple[str, ...]) -> str | None:
    """The position that zones of one booking ask of a wall: open inside, closed on the edge, None elsewhere."""
    inside = [zone in zones for zone in spec.partitions[wall].between]
    return "open" if all(inside) else "closed" if any(inside) else None


def walls_concerned(spec: Spec, zones: tuple[str, ...]) -> dict[str, str]:
    """Every wall that zones of one booking touch, with the position that they ask for."""
    walls = {wall: None for zone in zones for wall in spec.walls_of.get(zone, ())}
    return {wall: asked for wall in walls if (asked := wall_asked(spec, wall, zones)) is not None}


def day_turns(state: State, day: int, now: float) -> list[Turn]:
    """What the dates that start on a day (an ordinal, of the venue's clock) ask for, earliest first.

    Each wall is followed through the day from what stands before it: that costs less than looking back from each date.
    """
    timezone = state.spec.timezone
    begin, end = of_day(timezone, day), of_day(timezone, day + 1)
    by_zone = {zone: _askers(state, zone, begin, end) for zone in state.spec.zones}
    dates = {order[1:]: one for found in by_zone.values() for order, one in found}
    moves: dict[OccurrenceKey, list[Move]] = {key: [] for key in dates}
    for wall, spec in state.spec.partitions.items():
        here, there = (by_zone[zone] for zone in spec.between)
        if not here and not there:
            continue
        last, not_before = _before(state, wall, (begin, "", ""))
        for order, one in sorted({**dict(here), **dict(there)}.items()) if here and there else here or there:
            to = wall_asked(state.spec, wall, one.zones) or "closed"
            move = _move(state, wall, to, order[1], one, now, last, not_before)
            if move is not None:
                moves[order[1:]].append(move)
            last, not_before = to, one.end if not_before is None else max(not_before, one.end)
    ordered = sorted(dates.items(), key=lambda item: (item[1].start, item[0]))
    return [Turn(key[0], one, tuple(moves[key])) for key, one in ordered]


def _askers(state: State, zone: str, begin: float, end: float) -> list[tuple[_Order, Occurrence]]:
    """The dates that start in ``[begin, end)`` in a zone and ask anything of its walls, earliest first."""
    found = []
    for span in overlapping(state.busy.get(zone, ()), begin, end):
        one = state.occurrences[span.booking, span.key]
        if one.acts and begin <= one.start < end:
            found.append(((one.start, span.booking, span.key), one))
    return found


def _before(state: State, wall: str, order: _Order) -> tuple[str | None, float | None]:
    """What the dates before another leave a wall at, and when the guests of all of them are gone."""
    befores = [_asker_before(state, zone, order) for zone in state.spec.partitions[wall].between]
    found = [before for before in befores if before is not None]
    if not found:
        return None, None
    last = max(found, key=lambda before: before[0])[1]
    return wall_asked(state.spec, wall, last.zones), max(one.end for _, one in found)


def _move(
    state: State,
    wall: str,
    to: str,
    booking: str,
    one: Occurrence,
    now: float,
    last: str | None,
    not_before: float | None,
) -> Move | None:
    """The move of a wall that a date asks for; None where the wall is left so by those before."""
    other = "closed" if to == "open" else "open"
    if last is not None and not_before is not None:
        start = last
        if start == to and not_before <= now < one.end and _stands(state, wall) == other:
            # Left as it is wanted, but moved by hand since.
            start = other
    elif one.start < of_day(state.spec.timezone, day_of(state.spec.timezone, now)):
        start = "unknown"
    else:
        record = state.walls.get(wall)
        start = "open" if record is not None and record.joins else "closed"
    key = key_of(one.start)
    if start == to:
        tick = state.ticks.get((wall, key))
        if tick is None or tick.to != to:
            return None
        start = other
    spec = state.spec.partitions[wall]
    minutes = limits.MOVE_MINUTES if spec.move_minutes is None else spec.move_minutes
    known = state.bookings[booking].created
    return Move(wall, key, start, to, not_before, one.start, one.end, minutes, booking, one.key, known)


def _stands(state: State, wall: str) -> str | None:
    """Where a wall is known to stand; None where it moves or nobody knows."""
    record = state.walls.get(wall)
    return record.position if record is not None and record.position in STATED else None


def _asker_before(state: State, zone: str, order: _Order) -> tuple[_Order, Occurrence] | None:
    """The last date in a zone before another that asks anything of its walls."""
    taken = state.busy.get(zone, ())
    place = bisect_left(taken, (order[0] + 1.0,))
    while place > 0:
        place -= 1
        booking, key = taken[place].booking, taken[place].key
        one = state.occurrences[booking, key]
        if one.acts and (found := (one.start, booking, key)) < order:
            return found, one
    return None


def next_after(state: State, zone: str, at: float) -> Occurrence | None:
    """The first date in a zone that asks anything of its walls and starts after a stamp."""
    taken = state.busy.get(zone, ())
    for place in range(bisect_left(taken, (at,)), len(taken)):
        one = state.occurrences[taken[place].booking, taken[place].key]
        if one.acts and one.start > at:
            return one
    return None


# Ticks


def find(state: State, partition: str, key: str, now: float) -> Move | None:
    """The move of a wall that has this key, if there is one."""
    try:
        start = start_of(key)
    except ValueError:
        return None
    found: dict[tuple[str, str], Occurrence] = {}
    for zone in state.spec.partitions[partition].between:
        for span in overlapping(state.busy.get(zone, ()), start, start + 1.0):
            one = state.occurrences[span.booking, span.key]
            if one.acts and one.start == start:
                found[span.booking, span.key] = one
    for (booking, _), one in sorted(found.items(), key=lambda item: item[0]):
        to = wall_asked(state.spec, partition, one.zones)
        before = _before(state, partition, (one.start, booking, one.key))
        move = None if to is None else _move(state, partition, to, booking, one, now, *before)
        if move is not None:
            return move
    return None


def tick(draft: Draft, command: TickMove) -> dict[str, Any]:
    """Tick a move off, or take that back. Doing so once more succeeds. The reply's ``zones`` are the wall's."""
    partition, key = command.partition, command.key
    require("partition", partition, draft.spec.partitions)
    move = find(draft, partition, key, draft.now)
    if move is None:
        raise UnknownName("move", f"{partition}/{key}")
    if move.not_after < draft.now - limits.TICK_KEPT_S:
        raise Refused("is-over", f"that move was due at {rfc3339(move.not_after)}: what was is not changed")
    if len(command.note) > limits.TICK_NOTE_CHARS_MAX:
        raise BadValue(
            "note", f"has at most {limits.TICK_NOTE_CHARS_MAX} characters", maximum=limits.TICK_NOTE_CHARS_MAX
        )
    old = draft.ticks.get((partition, key))
    if not command.done and old is not None:
        draft.emit(TickDropped(partition, key))
    elif command.done and (old is None or old.note != command.note):
        draft.emit(MoveTicked(partition, key, Tick(move.to, move.not_after, command.by.who, draft.now, command.note)))
    return {"zones": list(draft.spec.partitions[partition].between)}


def drop_ticks(draft: Draft, zones: Iterable[str]) -> None:
    """After a change of what is booked in ``zones``: ticks of moves that are others now count no more."""
    changed = {wall for zone in zones for wall in draft.spec.walls_of.get(zone, ())}
    for partition, key in list(draft.ticks.live()):
        if partition in changed:
            old = find(draft.beneath, partition, key, draft.now)
            new = find(draft, partition, key, draft.now)
            if old is None or new is None or (old.to, old.not_before) != (new.to, new.not_before):
                draft.emit(TickDropped(partition, key))


def forget_ticks(draft: Draft) -> None:
    """Ticks of moves that were due long ago, or of walls that are gone, are forgotten."""
    for (partition, key), old in [(name, draft.ticks[name]) for name in draft.ticks.live()]:
        if old.by < draft.now - limits.TICK_KEPT_S or partition not in draft.spec.partitions:
            draft.emit(TickDropped(partition, key))
