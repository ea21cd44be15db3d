"""Scheduling moves on crews: a plan that is one, or a proof that there is none, held against all orders there are."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from itertools import pairwise, permutations, product

import pytest

from roomlink.core.crews import Job, Outcome, Shift, minimal, schedule

MINUTE = 60.0


def job(name: str, minutes: float, release: float, deadline: float) -> Job:
    return Job((name, "k"), minutes * MINUTE, release * MINUTE, deadline * MINUTE)


def shift(crew: str, start: float, end: float) -> Shift:
    return Shift(crew, start * MINUTE, end * MINUTE)


def in_order(jobs: Iterable[Job], shift: Shift) -> bool:
    """Whether one crew can do the jobs in this order, each as early as can be."""
    free = shift.start
    for one in jobs:
        free = max(free, one.release) + one.seconds
        if free > one.deadline:
            return False
    return free <= shift.end


def can_be_done(jobs: Sequence[Job], shifts: Sequence[Shift]) -> bool:
    """By trying every order of every crew's share, for every way to share the jobs out."""
    alone = {
        (place, share): any(in_order((jobs[i] for i in order), one) for order in permutations(share))
        for place, one in enumerate(shifts)
        for mask in product((False, True), repeat=len(jobs))
        for share in [tuple(i for i, chosen in enumerate(mask) if chosen)]
    }
    return any(
        all(alone[p, tuple(i for i, to in enumerate(way) if to == p)] for p in range(len(shifts)))
        for way in product(range(len(shifts)), repeat=len(jobs))
    )


def holds(outcome: Outcome, jobs: Sequence[Job], shifts: Sequence[Shift]) -> None:
    """A plan is a proof: every job is in it, in its window, in its crew's hours, and no crew does two at once."""
    hours = {one.crew: one for one in shifts}
    assert set(outcome.plan) == {one.name for one in jobs}
    for one in jobs:
        slot = outcome.plan[one.name]
        assert slot.end - slot.start == one.seconds
        assert max(one.release, hours[slot.crew].start) <= slot.start
        assert slot.end <= min(one.deadline, hours[slot.crew].end)
    for crew in hours:
        slots = sorted((s.start, s.end) for s in outcome.plan.values() if s.crew == crew)
        assert all(end <= start for (_, end), (start, _) in pairwise(slots))


def small_day(dice: random.Random) -> tuple[list[Job], list[Shift]]:
    """Up to six moves that are tight enough to be interesting, and up to three crews."""
    shifts = [
        shift(f"crew {n}", dice.randrange(0, 30, 5), dice.randrange(40, 95, 5)) for n in range(dice.randint(1, 3))
    ]
    jobs = []
    for n in range(dice.randint(1, 4 if len(shifts) == 3 else 6)):
        release, minutes = dice.randrange(0, 60, 5), dice.choice((5, 10, 15, 20, 25))
        jobs.append(job(f"w{n}", minutes, release, release + minutes + dice.randrange(0, 45, 5)))
    return jobs, shifts


def test_500_small_days_are_judged_as_by_trying_everything() -> None:
    """Both answers are frequent, and the quick schedule alone would have missed some."""
    dice, answers, quick_misses = random.Random(20), [], 0
    for _ in range(500):
        jobs, shifts = small_day(dice)
        found = schedule(jobs, shifts)
        assert found.feasible is can_be_done(jobs, shifts), (jobs, shifts)
        answers.append(found.feasible)
        if found.feasible:
            holds(found, jobs, shifts)
            quick_misses += schedule(jobs, shifts, steps=0).feasible is None
    assert 100 < answers.count(True) < 400
    assert quick_misses > 0


def test_a_crew_may_have_to_wait_for_what_is_more_urgent() -> None:
    """Taking the long one at once would be too late for the short one: the search finds what the quick way does not."""
    jobs = [job("long", 30, 0, 100), job("short", 10, 5, 15)]
    crew = [shift("one", 0, 60)]
    assert schedule(jobs, crew, steps=0).feasible is None
    found = schedule(jobs, crew)
    assert found.feasible is True
    holds(found, jobs, crew)
    assert found.plan["short", "k"].start == 5 * MINUTE


def test_what_was_not_decided_is_called_neither() -> None:
    """Beyond the steps allowed there is no plan, and no proof."""
    jobs = [job("long", 30, 0, 100), job("short", 10, 5, 15)]
    assert schedule(jobs, [shift("one", 0, 60)], steps=1) == Outcome(None, {})


def test_too_much_work_for_the_hours_is_proved_at_once() -> None:
    """Without a search, however many moves there are."""
    jobs = [job(f"w{n}", 10, 0, 60) for n in range(13)]
    assert schedule(jobs, [shift("one", 0, 60), shift("two", 0, 60)], steps=0) == Outcome(False, {})
    assert schedule(jobs[:12], [shift("one", 0, 60), shift("two", 0, 60)], steps=0).feasible is True


def test_nothing_to_do_needs_nobody() -> None:
    """And something to do needs somebody."""
    assert schedule([], []) == Outcome(True, {})
    assert schedule([job("w", 10, 0, 60)], []) == Outcome(False, {})


def test_a_crew_stays_to_the_end_of_its_hours_and_not_longer() -> None:
    """To the second."""
    assert schedule([job("w", 10, 0, 60)], [shift("one", 50, 60)]).feasible is True
    assert schedule([job("w", 10, 0, 60)], [shift("one", 50, 59.9)]).feasible is False


@pytest.mark.parametrize("seed", range(40))
def test_a_minimal_set_cannot_be_done_but_any_one_fewer_can(seed: int) -> None:
    """Whichever job is left out of it."""
    dice = random.Random(seed)
    while True:
        jobs, shifts = small_day(dice)
        if schedule(jobs, shifts).feasible is False:
            break
    few = minimal(jobs, lambda some: schedule(some, shifts).feasible)
    assert few
    assert not can_be_done(few, shifts)
    for one in few:
        assert can_be_done([other for other in few if other is not one], shifts)


def ordered_day(dice: random.Random) -> tuple[list[Job], list[Shift]]:
    """Up to five moves that share tracks, one or two crews."""
    jobs: list[Job] = []
    for n in range(dice.randint(2, 5)):
        release, minutes = 5.0 * dice.randint(0, 6), 5.0 * dice.randint(1, 3)
        deadline = release + minutes + 5.0 * dice.randint(0, 6)
        one = job(f"w{n}", minutes, release, deadline)
        befores = tuple(other.name for other in jobs if dice.random() < 0.35)
        jobs.append(Job(one.name, one.seconds, one.release, one.deadline, befores))
    dice.shuffle(jobs)
    shifts = [shift(f"c{n}", 5.0 * dice.randint(0, 2), 5.0 * dice.randint(5, 12)) for n in range(dice.randint(1, 2))]
    return jobs, shifts


def can_be_done_in_order(jobs: Sequence[Job], shifts: Sequence[Shift]) -> bool:
    """By trying every order of starts with every way to share the jobs out, each as early as can be."""
    names = {one.name for one in jobs}

    def works(order: Sequence[Job], way: Sequence[int]) -> bool:
        free, ends = [one.start for one in shifts], dict[tuple[str, str], float]()
        for one, place in zip(order, way, strict=True):
            befores = [name for name in one.after if name in names]
            if any(name not in ends for name in befores):
                return False
            end = max(free[place], one.release, *(ends[name] for name in befores)) + one.seconds
            if end > min(one.deadline, shifts[place].end):
                return False
            free[place] = ends[one.name] = end
        return True

    ways = list(product(range(len(shifts)), repeat=len(jobs)))
    return any(works(order, way) for order in permutations(jobs) for way in ways)


def test_days_with_an_order_of_walls_are_judged_as_by_trying_everything() -> None:
    """Walls on one track come one after another; the answer stays exact, and a plan keeps the order."""
    dice, seen = random.Random(20260502), {True: 0, False: 0}
    for _ in range(300):
        jobs, shifts = ordered_day(dice)
        found = schedule(jobs, shifts)
        assert found.feasible is can_be_done_in_order(jobs, shifts), (jobs, shifts)
        if found.feasible:
            holds(found, jobs, shifts)
            for one in jobs:
                for name in one.after:
                    assert found.plan[name].end <= found.plan[one.name].start
        seen[bool(found.feasible)] += 1
    assert min(seen.values()) > 60, "both answers come up"


def test_an_order_alone_can_make_a_day_impossible() -> None:
    """Two crews could move both walls at once, were they not on one track."""
    crews = [shift("day", 0, 60), shift("night", 0, 60)]
    inner, outer = job("inner", 20, 0, 30), job("outer", 20, 0, 30)
    assert schedule([inner, outer], crews).feasible
    behind = Job(outer.name, outer.seconds, outer.release, outer.deadline, (inner.name,))
    assert schedule([inner, behind], crews).feasible is False
    assert schedule([behind], crews).feasible, "what is not to be moved keeps nothing back"
