"""The turn list as people and programs see it; see ``discretion`` for what is private."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any

from roomlink.core import late_turns, wall_marks
from roomlink.core.crew_days import Days, met, ticked
from roomlink.core.crews import JobName, Plan
from roomlink.core.diary_view import title_of
from roomlink.core.instants import rfc3339
from roomlink.core.state import State
from roomlink.core.turns import Move, Turn
from roomlink.core.walls import STATED

Data = dict[str, Any]

CHECKED = {True: "proved", False: "proved", None: "too many"}


def day(state: State, day: int, now: float, zone: str | None = None, *, may_see: bool = False) -> Data:
    """The turns of a day (an ordinal), and whether the crews can make them; ``zone``: only those that take it.

    ``may_see``: for a reader who may see what is private.
    """
    days = Days(state, now)
    asked = days.turns(day)
    names = {move.name for turn in asked for move in turn.moves}
    feasible, plan, problems = _judged(days, day) if state.spec.crews else (None, {}, [])
    return {
        "day": date.fromordinal(day).isoformat(),
        "timezone": state.spec.timezone,
        "crews": {
            shift.crew: {
                "name": state.spec.crews[shift.crew].name,
                "from": rfc3339(shift.start),
                "until": rfc3339(shift.end),
            }
            for shift in days.shifts(day)
        },
        "feasible": feasible,
        "checked": CHECKED[feasible] if state.spec.crews else "no crews",
        "turns": [
            {**_turn(state, turn, plan, now, names), "title": title_of(state, turn.booking, turn.one, may_see=may_see)}
            for turn in asked
            if zone is None or zone in turn.one.zones
        ],
        "problems": problems,
    }


def _judged(days: Days, day: int) -> tuple[bool | None, Plan, list[Data]]:
    """Of a day's hours, and those of the day before where moves of this day are made in them."""
    names = {move.name for turn in days.turns(day) for move in turn.moves}
    over = [day]
    if any(move.name in names for move in days.moves(day - 1)):
        over.insert(0, day - 1)
    answers = [days.verdict(one).feasible for one in over]
    feasible = False if False in answers else None if None in answers else True
    plan = {name: slot for one in over for name, slot in days.plan(one).items()}
    problems = [
        {
            "text": problem.text,
            "moves": [{"partition": move.partition, "key": move.key} for move in problem.moves],
            "ways": list(problem.ways),
        }
        for one in over
        for problem in days.problems(one)
        if one == day or any(move.name in names for move in problem.moves)
    ]
    return feasible, plan, problems


def _turn(state: State, turn: Turn, plan: Plan, now: float, asked: Collection[JobName]) -> Data:
    one = turn.one
    return {
        "booking": turn.booking,
        "occurrence": one.key,
        "zones": list(one.zones),
        "people_from": rfc3339(one.start),
        "begins": rfc3339(one.begins),
        "moves": [_move(state, move, plan, now, asked) for move in turn.moves],
    }


def _move(state: State, move: Move, plan: Plan, now: float, asked: Collection[JobName]) -> Data:
    """``met`` and ``late`` are of now; who ticked it off and what the wall says are both shown where they disagree."""
    wall, slot, tick = state.walls.get(move.partition), plan.get(move.name), ticked(state, move)
    position = "unknown" if wall is None else wall.position
    stands, on = met(state, move, now), now < move.until
    return {
        "partition": move.partition,
        "key": move.key,
        "from": move.start,
        "to": move.to,
        "not_before": None if move.not_before is None else rfc3339(move.not_before),
        "not_after": rfc3339(move.not_after),
        "minutes": move.minutes,
        "assumed": state.spec.partitions[move.partition].move_minutes is None,
        "planned": None
        if slot is None
        else {"crew": slot.crew, "start": rfc3339(slot.start), "end": rfc3339(slot.end)},
        "tick": None if tick is None else {"who": tick.who, "at": rfc3339(tick.at), "note": tick.note},
        "now": position,
        "met": stands,
        "late": move.not_after < now and on and tick is None and not stands,
        "after": [w for w in state.spec.partitions[move.partition].after if (w, move.key) in asked],
        "alarm": late_turns.standing(state, move.partition) if on else None,
        **wall_marks.view(state, move.partition),
        "disagrees": on and tick is not None and position in (*STATED, "moving") and position != move.to,
    }
