"""Whether the crews can make the turns of a day; where not, which moves stand in each other's way, and what would help.

A crew's hours belong to the day on which they begin, so that an evening may run over midnight. A move is made in the
hours of the day of the date that asks for it; where none of these could take it, in the hours of the day before. So
each day's hours have moves of their own and can be planned by themselves. Only where a day's own hours do not suffice,
all of its moves may use what is left of the day before, whose own moves stay in its hours. All plans are true together.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from roomlink import limits
from roomlink.core import turns
from roomlink.core.bookings import OccurrencesSet, Tick
from roomlink.core.crews import Job, Outcome, Plan, Shift, minimal, schedule
from roomlink.core.instants import clock, day_of, of_day
from roomlink.core.state import Draft, State
from roomlink.core.turns import Move, Turn

SECOND_LEAST = 1.0
"""Even what takes no time is made at some time."""
MORE = "one more crew"


@dataclass(frozen=True, slots=True)
class Verdict:
    """``early``: the plan also has the hours, and the moves, of the day before."""

    outcome: Outcome
    early: bool = False

    @property
    def feasible(self) -> bool | None:
        return self.outcome.feasible


@dataclass(frozen=True, slots=True)
class Problem:
    """Moves that cannot all be made in the hours of ``day``; any one fewer could. ``ways`` were tried: each does."""

    day: int
    text: str
    moves: tuple[Move, ...]
    ways: tuple[str, ...]


def done(state: State, move: Move, now: float) -> bool:
    """Whether a move needs to be made no more: ticked off, made (and no guests before need the wall), or over."""
    return move.until <= now or ticked(state, move) is not None or met(state, move, now)


def ticked(state: State, move: Move) -> Tick | None:
    """Who says that a move is made."""
    tick = state.ticks.get(move.name)
    return tick if tick is not None and tick.to == move.to else None


def met(state: State, move: Move, now: float) -> bool:
    """Whether the wall stands as it is wanted, once the guests before are gone."""
    wall = state.walls.get(move.partition)
    return wall is not None and wall.position == move.to and (move.not_before is None or move.not_before <= now)


class Days:
    """The days of one state, at one time; each is worked out once. ``fresh``: moves that nobody knew before ``now``."""

    def __init__(self, state: State, now: float, fresh: Callable[[Move], bool] | None = None) -> None:
        self._state, self._now, self._fresh = state, now, fresh
        self._zone = state.spec.timezone
        self._turns: dict[int, list[Turn]] = {}
        self._shifts: dict[int, tuple[Shift, ...]] = {}
        self._jobs: dict[int, list[Job]] = {}
        self._verdicts: dict[int, Verdict] = {}

    def turns(self, day: int) -> list[Turn]:
        """What the dates of a day ask for."""
        if day not in self._turns:
            self._turns[day] = turns.day_turns(self._state, day, self._now)
        return self._turns[day]

    def shifts(self, day: int) -> tuple[Shift, ...]:
        """When the crews are there, for the hours that begin on a day."""
        if day not in self._shifts:
            self._shifts[day] = tuple(
                Shift(
                    crew,
                    of_day(self._zone, day, spec.start),
                    of_day(self._zone, day, spec.end + (1440 if spec.end <= spec.start else 0)),
                )
                for crew, spec in self._state.spec.crews.items()
            )
        return self._shifts[day]

    def made_on(self, move: Move) -> int:
        """The day in whose hours a move is made; no later than those that come after it."""
        day = day_of(self._zone, move.not_after)
        return min((self._alone_on(one, day) for one in (move, *self._after(move, day))), default=day)

    def _alone_on(self, move: Move, day: int) -> int:
        job = self._job(move)
        own = any(shift.takes(job) for shift in self.shifts(day))
        return day if own or not any(shift.takes(job) for shift in self.shifts(day - 1)) else day - 1

    def _after(self, move: Move, day: int) -> list[Move]:
        """The moves by the same time that come after one, near and far."""
        spec = self._state.spec.partitions
        if not any(wall.after for wall in spec.values()):
            return []
        alike = [m for turn in self.turns(day) for m in turn.moves if m.key == move.key]
        found: dict[str, Move] = {}
        for _ in alike:
            before = {move.partition, *found}
            found |= {m.partition: m for m in alike if not before.isdisjoint(spec[m.partition].after)}
        return [m for m in found.values() if not done(self._state, m, self._now)]

    def moves(self, day: int) -> list[Move]:
        """The moves that are still to be made in the hours of a day."""
        asked = [move for d in (day, day + 1) for turn in self.turns(d) for move in turn.moves]
        return [move for move in asked if not done(self._state, move, self._now) and self.made_on(move) == day]

    def verdict(self, day: int) -> Verdict:
        """Whether all that is to be made in the hours of a day can be."""
        if day not in self._verdicts:
            self._verdicts[day] = self._judged(day, self.jobs(day))
            if self.marked(day):
                self._verdicts[day] = Verdict(Outcome(False, {}))
        return self._verdicts[day]

    def jobs(self, day: int) -> list[Job]:
        """What crews can do of it: walls that are not to be moved are left out."""
        if day not in self._jobs:
            marks = self._state.wall_marks
            self._jobs[day] = [self._job(move) for move in self.moves(day) if move.partition not in marks]
        return self._jobs[day]

    def marked(self, day: int) -> list[Move]:
        """The moves of a day's hours that nobody is to make."""
        if next(self._state.wall_marks.live(), None) is None:
            return []
        return [move for move in self.moves(day) if move.partition in self._state.wall_marks]

    def _job(self, move: Move) -> Job:
        release = move.known if move.not_before is None else max(move.not_before, move.known)
        if self._fresh is not None and release < self._now < move.not_after and self._fresh(move):
            release = self._now
        after = tuple((wall, move.key) for wall in self._state.spec.partitions[move.partition].after)
        return Job(move.name, max(60.0 * move.minutes, SECOND_LEAST), release, move.not_after, after)

    def _judged(self, day: int, jobs: Sequence[Job], more: Sequence[Shift] = ()) -> Verdict:
        own = schedule(jobs, (*self.shifts(day), *more))
        if own.feasible or not jobs:
            return Verdict(own)
        early = schedule([*self.jobs(day - 1), *jobs], (*self.shifts(day - 1), *self.shifts(day), *more))
        if early.feasible:
            return Verdict(early, early=True)
        return Verdict(own if early.feasible is False else Outcome(None, {}))

    # Where it is not feasible

    def plan(self, day: int) -> Plan:
        """A plan of the moves of a day's hours; where not all can be made, of as many as were found to go together."""
        after = self.verdict(day + 1)
        if after.early:
            return after.outcome.plan
        found = self.verdict(day)
        if found.feasible:
            return found.outcome.plan
        if self.marked(day):
            rest = self._judged(day, self.jobs(day))
            if rest.feasible and not rest.early:
                return rest.outcome.plan
        kept: list[Job] = []
        plan: Plan = {}
        for job in sorted(self.jobs(day), key=lambda job: (job.deadline, job.name)):
            trial = schedule([*kept, job], self.shifts(day))
            if trial.feasible:
                kept.append(job)
                plan = trial.plan
        return plan

    def problems(self, day: int, *, with_ways: bool = True) -> list[Problem]:
        """Why the moves of a day's hours cannot all be made: few that stand in each other's way, and others beside."""
        marked = [Problem(day, self._marked(move), (move,), ()) for move in self.marked(day)]
        named = {move.name: move for move in self.moves(day)}
        left = self.jobs(day)
        found: list[list[Job]] = []
        while self._judged(day, left).feasible is False and len(found) < limits.TURN_PROBLEMS_MAX:
            few = minimal(left, lambda jobs: self._judged(day, jobs).feasible)
            names = {job.name for job in few}
            left = [job for job in left if job.name not in names]
            found.append(few)
        problems = []
        for few in found:
            moves = tuple(named[job.name] for job in few)
            ways = self._ways(day, len(found) + len(marked), [*left, *few], few, moves) if with_ways else ()
            problems.append(Problem(day, self._text(moves), moves, ways))
        return [*marked, *problems]

    def _marked(self, move: Move) -> str:
        mark = self._state.wall_marks[move.partition]
        wall = self._wall(move.partition)
        return f"{wall} is not to be moved, says {mark.by}: {mark.why}; asked for is: {self._told(move)}"

    def _text(self, moves: Sequence[Move]) -> str:
        told = "; ".join(self._told(move) for move in moves)
        if len(moves) == 1:
            return f"no crew can make this move in time: {told}"
        return f"the crews cannot make these moves in time: {told}"

    def _told(self, move: Move) -> str:
        when = f"by {clock(self._zone, move.not_after)}"
        if move.not_before is not None and day_of(self._zone, move.not_before) == day_of(self._zone, move.not_after):
            when = f"between {clock(self._zone, move.not_before)} and {clock(self._zone, move.not_after)}"
        verb = "open" if move.to == "open" else "close"
        takes = f"{move.minutes:g} {'minute' if move.minutes == 1.0 else 'minutes'}"
        return f"{verb} {self._wall(move.partition)} {when} ({takes}), for {self._date(move)}"

    def _wall(self, partition: str) -> str:
        spec = self._state.spec.partitions[partition]
        return spec.name or f"the wall between {self._rooms(spec.between)}"

    def _rooms(self, zones: Sequence[str]) -> str:
        return " + ".join(self._state.spec.zones[zone].name or zone for zone in zones)

    def _date(self, move: Move) -> str:
        """The date that asks for a move, without its title: what is told here is kept, and a title may be private."""
        one = self._state.occurrences[move.booking, move.occurrence]
        return f"{self._rooms(one.zones)} at {clock(self._zone, one.start)}"

    def _ways(
        self, day: int, problems: int, jobs: Sequence[Job], few: Sequence[Job], moves: Sequence[Move]
    ) -> tuple[str, ...]:
        """What would rid the day of one of its ``problems``, all that has none staying as it is; each way is tried."""
        askers = {(move.booking, move.occurrence): move for move in moves}
        ways = [self._later(day, problems, move) for move in askers.values()]
        return tuple(way for way in (*ways, self._more(day, jobs, few)) if way is not None)

    def _later(self, day: int, problems: int, move: Move) -> str | None:
        """How much later a date would have to start, its end staying, so that its moves do not stand in the way."""
        one = self._state.occurrences[move.booking, move.occurrence]
        step = limits.TURN_LATER_STEP_S
        midnight = of_day(self._zone, day_of(self._zone, one.start) + 1)
        most = int((min(limits.TURN_LATER_S_MAX, one.end - one.start, midnight - one.start) - step) // step)
        # Later is no worse: where the latest does not help, none before it is looked at.
        if most < 1 or not self._helps(day, problems, move, step * most):
            return None
        steps = range(1, most + 1)
        by = step * steps[bisect_left(steps, True, key=lambda n: self._helps(day, problems, move, step * n))]
        then, now = clock(self._zone, one.start + by), clock(self._zone, one.start)
        return f"{self._rooms(one.zones)} at {then} instead of {now}"

    def _helps(self, day: int, problems: int, move: Move, by: float) -> bool:
        """Whether the diary, with one date that starts later, has a problem less on that day, and no new one beside."""
        trial = Draft(self._state, self._now)
        old = trial.occurrences[move.booking, move.occurrence]
        trial.emit(OccurrencesSet(move.booking, (replace(old, start=old.start + by, begins=old.begins + by),)))
        then = Days(trial, self._now, self._fresh)
        found = then.verdict(day).feasible
        if found is None or (found is False and len(then.problems(day, with_ways=False)) >= problems):
            return False
        beside = [d for d in (day - 1, day + 1) if then.verdict(d).feasible is not True]
        return all(self.verdict(d).feasible is not True for d in beside)

    def _more(self, day: int, jobs: Sequence[Job], few: Sequence[Job]) -> str | None:
        """One more crew, and for how long, with which ``jobs`` could all be made."""
        end = max(job.deadline for job in few)
        begin = max(self._now, of_day(self._zone, day - 1), min(job.release for job in few))
        for start in (end - sum(job.seconds for job in few), begin):
            found = self._judged(day, jobs, (Shift(MORE, max(start, begin), end),))
            spells = [slot for slot in found.outcome.plan.values() if slot.crew == MORE]
            if found.feasible and spells:
                first, last = min(slot.start for slot in spells), max(slot.end for slot in spells)
                return f"{MORE} from {clock(self._zone, first)} to {clock(self._zone, last)}"
        return None
