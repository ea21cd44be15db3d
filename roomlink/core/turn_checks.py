"""Bookings whose turns the crews cannot make: refused, or only told, as the venue has it. Decided with the booking.

Only days are looked at whose moves may differ by it: those of its dates, and of the next dates on the same walls.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from roomlink import limits
from roomlink.core import turns
from roomlink.core.bookings import Booking, BookingSet, Occurrence, OccurrencesDropped, OccurrencesSet, key_of
from roomlink.core.crew_days import Days, Problem
from roomlink.core.crews import JobName
from roomlink.core.instants import rfc3339
from roomlink.core.state import Draft, State
from roomlink.core.turns import Move
from roomlink.errors import Refused

Data = dict[str, Any]
Olds = Mapping[str, Occurrence]

UNDECIDED = "whether the crews can make all moves of {day} was not decided: there are too many"


def admitted(
    draft: Draft,
    name: str,
    booking: Booking,
    olds: Olds,
    kept: Sequence[Occurrence],
    news: list[Occurrence],
    free: bool,
) -> tuple[list[Occurrence], list[str], list[Data]]:
    """The dates of ``news`` that may be booked beside ``kept``, warnings, and what was left out and why.

    Raises ``turns-infeasible`` where crews could not make the turns and the venue refuses that; with ``free``, dates
    that cannot be are left out instead, while any remain.
    """
    if not draft.spec.crews:
        return news, [], []
    refuse = draft.spec.bookings.infeasible == "refuse"
    left_out: list[Data] = []
    found, warnings = _found(draft, name, booking, olds, [*kept, *news], with_ways=not free or not refuse)
    if not refuse:
        return news, [*(_sentence(problem) for problem in found[: limits.TURN_PROBLEMS_MAX]), *warnings], []
    for left in range(limits.TURN_ROUNDS_MAX, -1, -1):
        if not found:
            break
        out = _to_leave_out(draft, name, news, found) if free and left else {}
        if not out or len(out) == len(news):
            # What was looked through for dates to leave out has no ways out yet.
            raise _refusal(_found(draft, name, booking, olds, [*kept, *news], with_ways=True)[0] if free else found)
        left_out += [{**_wanted(one), "problems": [_problem(why)]} for one, why in out.values()]
        news = [one for one in news if one.key not in out]
        found, warnings = _found(draft, name, booking, olds, [*kept, *news], with_ways=False)
    return news, warnings, left_out


def _found(
    draft: Draft, name: str, booking: Booking, olds: Olds, dates: Iterable[Occurrence], *, with_ways: bool
) -> tuple[list[Problem], list[str]]:
    """The problems that a booking with these dates would bring, and warnings where that is not known."""
    now = {date.key: date for date in dates}
    gone = tuple(key for key in olds if key not in now)
    differ = tuple(date for key, date in now.items() if olds.get(key) != date)
    # Mostly nothing is decided yet: then there is no need to look through what this command did so far.
    before = draft if draft.events else draft.beneath
    after = Draft(before, draft.now)
    after.emit(BookingSet(name, booking))
    if gone:
        after.emit(OccurrencesDropped(name, gone))
    if differ:
        after.emit(OccurrencesSet(name, differ))
    touched = [*(olds[key] for key in gone), *(olds[one.key] for one in differ if one.key in olds), *differ]
    news = _news(before, after, [one for one in touched if one.over > draft.now])
    return _worse(before, after, name, news, with_ways) if news else ([], [])


def _news(before: State, after: Draft, touched: Iterable[Occurrence]) -> list[Move]:
    """Moves that are there now, or are others now. Only dates that changed, and the next on their walls, have any."""
    spec, now = after.spec, after.now
    names: dict[JobName, None] = {}
    for one in touched:
        walls = turns.walls_concerned(spec, one.zones)
        beyond = {zone for wall in walls for zone in spec.partitions[wall].between}
        nexts = [after_it for zone in beyond if (after_it := turns.next_after(after, zone, one.start)) is not None]
        for asker in (one, *nexts):
            # Of the next dates, too, only the walls that they share with this one matter.
            names.update({(wall, key_of(asker.start)): None for wall in walls})
    found = []
    for name in names:
        old, new = turns.find(before, *name, now), turns.find(after, *name, now)
        if new is not None and (old is None or old.asked != new.asked):
            found.append(new)
    return found


def _worse(
    before: State, after: Draft, name: str, news: Sequence[Move], with_ways: bool
) -> tuple[list[Problem], list[str]]:
    """What cannot be made of the days in whose hours there are new moves, or that may use those hours."""
    # By who asks: where a later start is tried, the move has another name.
    new = {(move.partition, move.booking, move.occurrence) for move in news}
    then, first = (
        Days(after, after.now, lambda move: (move.partition, move.booking, move.occurrence) in new),
        Days(before, after.now),
    )
    made_on = {then.made_on(move) for move in news}
    found: list[Problem] = []
    warnings = []
    for day in sorted({*made_on, *(day + 1 for day in made_on)}):
        feasible = then.verdict(day).feasible
        if feasible:
            continue
        if feasible is None:
            warnings.append(UNDECIDED.format(day=_date(day)))
            continue
        problems = then.problems(day, with_ways=with_ways and not found)
        if first.verdict(day).feasible is False:
            # It could not be made before: only what this booking adds to that counts.
            olds = {_moves(problem) for problem in first.problems(day, with_ways=False)}
            own = [problem for problem in problems if any(move.booking == name for move in problem.moves)]
            problems = [problem for problem in own if _moves(problem) not in olds]
        found += problems
    return found, warnings


def _moves(problem: Problem) -> frozenset[tuple[Any, ...]]:
    return frozenset(move.asked for move in problem.moves)


def _date(day: int) -> str:
    return date.fromordinal(day).isoformat()


def _to_leave_out(
    draft: Draft, name: str, news: Sequence[Occurrence], found: Sequence[Problem]
) -> dict[str, tuple[Occurrence, Problem]]:
    """For each problem the dates of this booking with a part in it: they ask for its moves, or come just before."""
    out: dict[str, tuple[Occurrence, Problem]] = {}
    for problem in found:
        asking = {move.occurrence for move in problem.moves if move.booking == name}
        own = [one for one in news if one.key in asking]
        if not own:
            last = max(move.not_after for move in problem.moves)
            own = sorted((one for one in news if one.start <= last), key=lambda one: one.start)[-1:]
        out.update({one.key: (one, problem) for one in own})
    return out


def _sentence(problem: Problem) -> str:
    ways = f"; {' or '.join(problem.ways)} would do" if problem.ways else ""
    return f"{_date(problem.day)}: {problem.text}{ways}"


def _problem(problem: Problem) -> Data:
    return {
        "day": _date(problem.day),
        "text": problem.text,
        "moves": [{"partition": move.partition, "key": move.key} for move in problem.moves],
        "ways": list(problem.ways),
    }


def _wanted(one: Occurrence) -> Data:
    return {"zones": list(one.zones), "wanted": {"start": rfc3339(one.start), "end": rfc3339(one.end)}}


def _refusal(found: Sequence[Problem]) -> Refused:
    """The problem that names the moves, and the ways out."""
    text = _sentence(found[0]) if found[0].ways else f"{_sentence(found[0])}; book another time, or other zones"
    if len(found) > 1:
        text += f"; and there are {len(found) - 1} more such problems"
    return Refused("turns-infeasible", text, problems=[_problem(one) for one in found[: limits.TURN_PROBLEMS_MAX]])
