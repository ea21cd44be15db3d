"""Whether crews can make moves in time: one wall at a time a crew, within its hours, no move broken off.

This is scheduling on parallel machines with release times and deadlines. A quick schedule that takes the earliest
deadline first is tried before; what it finds is a proof. Else all schedules that could matter are searched, so that
the answer is exact, up to a number of steps; beyond that it is "not decided", which nobody may take for a yes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from roomlink import limits

JobName = tuple[str, str]
"""(partition, key of the move)"""


@dataclass(frozen=True, slots=True)
class Job:
    """A move that takes ``seconds``, begins at ``release`` or later, and is done by ``deadline``. Both are stamps."""

    name: JobName
    seconds: float
    release: float
    deadline: float


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
    waiting = sorted(jobs, key=lambda job: (job.deadline, job.release, job.name))
    plan: dict[JobName, Slot] = {}
    while waiting:
        first = min(job.release for job in waiting)
        there = [(max(free[n], first), n) for n, shift in enumerate(shifts) if free[n] < shift.end]
        if not there:
            return None
        now, place = min(there)
        shift = shifts[place]
        ready = (j for j in waiting if j.release <= now and now + j.seconds <= shift.end)
        job = next(ready, None)
        if job is None:
            # Nothing that may begin now fits in: the crew waits for what comes next, or is done.
            free[place] = min((j.release for j in waiting if j.release > now), default=shift.end)
            continue
        if now + job.seconds > job.deadline:
            return None
        free[place] = now + job.seconds
        plan[job.name] = Slot(shift.crew, now, free[place])
        waiting.remove(job)
    return plan


class _Search:
    """Depth first through schedules, built in the order of their starts, in which no move could simply be made earlier.

    If there is a schedule, there is one of these: of all those with the least sum of starts none is left out. A state
    that is no better than one which led nowhere leads nowhere.
    """

    def __init__(self, jobs: Sequence[Job], shifts: Sequence[Shift], steps: int) -> None:
        self._jobs = sorted(jobs, key=lambda job: (job.deadline, job.release, job.name))
        self._shifts = sorted(shifts, key=lambda shift: (shift.end, shift.start, shift.crew))
        self._steps = steps
        self._failed: dict[frozenset[int], list[tuple[float, ...]]] = {}
        self._plan: dict[JobName, Slot] = {}

    def run(self) -> Outcome:
        found = self._go(frozenset(range(len(self._jobs))), tuple(s.start for s in self._shifts))
        return Outcome(found, dict(self._plan) if found else {})

    def _go(self, left: frozenset[int], free: tuple[float, ...]) -> bool | None:
        """Whether what is ``left`` can be done by crews that are ``free`` from these times on; None: not decided."""
        if not left:
            return True
        if self._steps <= 0:
            return None
        self._steps -= 1
        # Shifts that end at one time differ in nothing but when they are free: in their order.
        mark = tuple(at for _, at in sorted((s.end, at) for s, at in zip(self._shifts, free, strict=True)))
        failed = self._failed.setdefault(left, [])
        if any(all(was <= now for was, now in zip(old, mark, strict=True)) for old in failed):
            return False
        for start, index, place in self._choices(left, free):
            job, shift = self._jobs[index], self._shifts[place]
            end = start + job.seconds
            later = tuple(end if n == place else max(at, start) for n, at in enumerate(free))
            found = self._go(left - {index}, later)
            if found:
                self._plan[job.name] = Slot(shift.crew, start, end)
            if found is not False:
                return found
        failed.append(mark)
        return False

    def _choices(self, left: frozenset[int], free: tuple[float, ...]) -> list[tuple[float, int, int]]:
        """(start, job, shift) of all that may come next; none where a job can no longer be done at all."""
        found: list[tuple[float, int, int]] = []
        soonest = [min(max(at, self._jobs[i].release) + self._jobs[i].seconds for i in left) for at in free]
        for index in left:
            job, possible, alike = self._jobs[index], False, set()
            for place, shift in enumerate(self._shifts):
                start = max(free[place], job.release)
                if start + job.seconds > min(shift.end, job.deadline):
                    continue
                possible = True
                # Where another could be over before this one starts, that one would be made earlier.
                if start < soonest[place] and (free[place], shift.end) not in alike:
                    alike.add((free[place], shift.end))
                    found.append((start, index, place))
            if not possible:
                return []
        return sorted(found, key=lambda choice: (choice[0], choice[1]))
