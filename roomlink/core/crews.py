"""Whether crews can make moves in time: one wall at a time a crew, within its hours, no move broken off.

Walls that share a track have an order: a move begins once those before it are over. So this is scheduling on parallel
machines with release times, deadlines and precedence. A quick schedule that takes the earliest
deadline first is tried before; what it finds is a proof. Else all schedules that could matter are searched, so that
the answer is exact, up to a number of steps; beyond that it is "not decided", which nobody may take for a yes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from roomlink import limits

JobName = tuple[str, str]
"""(partition, key of the move)"""
NEVER = float("inf")


@dataclass(frozen=True, slots=True)
class Job:
    """A move that takes ``seconds``, begins at ``release`` or later, and is done by ``deadline``. Both are stamps.

    It begins once the jobs ``after`` which it comes are over; those that are not to be done do not count.
    """

    name: JobName
    seconds: float
    release: float
    deadline: float
    after: tuple[JobName, ...] = ()


@dataclass(frozen=True, slots=True)
class Shift:
    """A crew is there from ``start`` to ``end``, in stamps. Shifts of one crew do not overlap."""

    crew: str
    start: float
    end: float

    def takes(self, job: Job) -> bool:
        """Whether the job alone could be done in it."""
        return max(self.start, job.release) + job.seconds <= min(self.end, job.deadline)


@dataclass(frozen=True, slots=True)
class Slot:
    """When a crew makes a move, in stamps."""

    crew: str
    start: float
    end: float


Plan = Mapping[JobName, Slot]


@dataclass(frozen=True, slots=True)
class Outcome:
    """``feasible`` is proved either way, or None: not decided within the steps allowed. ``plan`` proves a yes."""

    feasible: bool | None
    plan: Plan


def schedule(jobs: Sequence[Job], shifts: Sequence[Shift], steps: int = limits.TURN_STEPS_MAX) -> Outcome:
    """A plan for all jobs, a proof that there is none, or neither after so many ``steps``."""
    quick = _earliest_deadline_first(jobs, shifts)
    if quick is not None:
        return Outcome(True, quick)
    if not all(any(shift.takes(job) for shift in shifts) for job in jobs) or _overfull(jobs, shifts):
        return Outcome(False, {})
    return _Search(jobs, shifts, steps).run() if len(jobs) <= limits.TURN_JOBS_MAX else Outcome(None, {})


def minimal(jobs: Sequence[Job], feasible: Callable[[Sequence[Job]], bool | None]) -> list[Job]:
    """Of jobs that cannot be done, a few that cannot be done together, while any one fewer could be.

    One by one, each is left out for good if the rest still cannot be done.
    """
    kept = list(jobs)
    for job in jobs:
        rest = [other for other in kept if other is not job]
        if feasible(rest) is False:
            kept = rest
    return kept


def _overfull(jobs: Sequence[Job], shifts: Sequence[Shift]) -> bool:
    """Whether more has to be done between two times than the crews have hours then: a quick proof that it cannot be."""
    releases, deadlines = {job.release for job in jobs}, {job.deadline for job in jobs}
    if len(releases) * len(deadlines) * len(jobs) > limits.TURN_STEPS_MAX:
        return False
    for begin in releases:
        for end in deadlines:
            work = sum(job.seconds for job in jobs if job.release >= begin and job.deadline <= end)
            if work and work > sum(max(0.0, min(s.end, end) - max(s.start, begin)) for s in shifts):
                return True
    return False


def _earliest_deadline_first(jobs: Sequence[Job], shifts: Sequence[Shift]) -> Plan | None:
    """Whenever a crew is free it takes, of what may be done now, what is due first; None where that fails."""
    free = [shift.start for shift in shifts]
    # What others wait for is as urgent as they are.
    urgent = _urgency(jobs)
    waiting = sorted(jobs, key=lambda job: (urgent[job.name], job.release, job.name))
    plan: dict[JobName, Slot] = {}
    while waiting:
        ready = _ready(waiting, plan)
        first = min(ready[job.name] for job in waiting)
        there = [(max(free[n], first), n) for n, shift in enumerate(shifts) if free[n] < shift.end]
        if not there:
            return None
        now, place = min(there)
        shift = shifts[place]
        fitting = (j for j in waiting if ready[j.name] <= now and now + j.seconds <= shift.end)
        job = next(fitting, None)
        if job is None:
            # Nothing that may begin now fits in: the crew waits for what comes next, or is done.
            later = [at for at in ready.values() if now < at < NEVER]
            if NEVER in ready.values():
                # What waits for moves of other crews is looked at again when one of these is free.
                later += [at for n, at in enumerate(free) if n != place and at > now]
            free[place] = min(later, default=shift.end)
            continue
        if now + job.seconds > job.deadline:
            return None
        free[place] = now + job.seconds
        plan[job.name] = Slot(shift.crew, now, free[place])
        waiting.remove(job)
    return plan


def _ready(left: Sequence[Job], plan: Plan) -> dict[JobName, float]:
    """From when each of the jobs that are left may begin; ``NEVER`` while one before it is left as well."""
    names = {job.name for job in left}
    found = {}
    for job in left:
        if not job.after:
            found[job.name] = job.release
            continue
        befores = [plan[name].end for name in job.after if name in plan]
        found[job.name] = NEVER if any(n in names for n in job.after) else max((job.release, *befores))
    return found


def _urgency(jobs: Sequence[Job]) -> dict[JobName, float]:
    """By when each job has to be over so that those after it can be, too."""
    by = {job.name: job.deadline for job in jobs}
    for _ in jobs if any(job.after for job in jobs) else ():
        for job in jobs:
            for name in job.after:
                if name in by:
                    by[name] = min(by[name], by[job.name] - job.seconds)
    return by


class _Search:
    """Depth first through schedules, built in the order of their starts, in which no move could simply be made earlier.

    If there is a schedule, there is one of these: of all those with the least sum of starts none is left out. A state
    that is no better than one which led nowhere leads nowhere: crews are free no earlier, and what others still wait
    for is over no earlier.
    """

    def __init__(self, jobs: Sequence[Job], shifts: Sequence[Shift], steps: int) -> None:
        self._jobs = sorted(jobs, key=lambda job: (job.deadline, job.release, job.name))
        self._shifts = sorted(shifts, key=lambda shift: (shift.end, shift.start, shift.crew))
        self._steps = steps
        self._failed: dict[frozenset[int], list[tuple[float, ...]]] = {}
        self._plan: dict[JobName, Slot] = {}

    def run(self) -> Outcome:
        found = self._go(frozenset(range(len(self._jobs))), tuple(s.start for s in self._shifts), {})
        return Outcome(found, dict(self._plan) if found else {})

    def _go(self, left: frozenset[int], free: tuple[float, ...], ends: Mapping[JobName, float]) -> bool | None:
        """Whether what is ``left`` can be done by crews that are ``free`` from these times on; None: not decided.

        ``ends`` says when what is planned is over.
        """
        if not left:
            return True
        if self._steps <= 0:
            return None
        self._steps -= 1
        # Shifts that end at one time differ in nothing but when they are free: in their order.
        mark = tuple(at for _, at in sorted((s.end, at) for s, at in zip(self._shifts, free, strict=True)))
        mark += tuple(ends[name] for name in sorted({n for i in left for n in self._jobs[i].after} & ends.keys()))
        failed = self._failed.setdefault(left, [])
        if any(all(was <= now for was, now in zip(old, mark, strict=True)) for old in failed):
            return False
        for start, index, place in self._choices(left, free, ends):
            job, shift = self._jobs[index], self._shifts[place]
            end = start + job.seconds
            later = tuple(end if n == place else max(at, start) for n, at in enumerate(free))
            found = self._go(left - {index}, later, {**ends, job.name: end})
            if found:
                self._plan[job.name] = Slot(shift.crew, start, end)
            if found is not False:
                return found
        failed.append(mark)
        return False

    def _choices(
        self, left: frozenset[int], free: tuple[float, ...], ends: Mapping[JobName, float]
    ) -> list[tuple[float, int, int]]:
        """(start, job, shift) of all that may come next; none where a job can no longer be done at all."""
        found: list[tuple[float, int, int]] = []
        ready = {i: self._ready(i, left, ends) for i in left}
        soonest = [min(max(at, ready[i]) + self._jobs[i].seconds for i in left) for at in free]
        for index in left:
            job, possible, alike = self._jobs[index], False, set()
            for place, shift in enumerate(self._shifts):
                # What waits for another is looked at as if that were over: it must not be hopeless even then.
                start = max(free[place], job.release if ready[index] == NEVER else ready[index])
                if start + job.seconds > min(shift.end, job.deadline):
                    continue
                possible = True
                # Where another could be over before this one starts, that one would be made earlier.
                waits = ready[index] == NEVER or start >= soonest[place]
                if not waits and (free[place], shift.end) not in alike:
                    alike.add((free[place], shift.end))
                    found.append((start, index, place))
            if not possible:
                return []
        return sorted(found, key=lambda choice: (choice[0], choice[1]))

    def _ready(self, index: int, left: frozenset[int], ends: Mapping[JobName, float]) -> float:
        """From when a job may begin; ``NEVER`` while one before it is left as well."""
        job = self._jobs[index]
        if not job.after:
            return job.release
        if any(self._jobs[i].name in job.after for i in left):
            return NEVER
        return max((job.release, *(ends[name] for name in job.after if name in ends)))
