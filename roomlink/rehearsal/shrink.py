"""From a long run that breaks a rule to the shortest one that still does."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from roomlink.errors import CallerFault
from roomlink.rehearsal.invariants import RULES, Broken
from roomlink.rehearsal.steps import words
from roomlink.rehearsal.trial import Step, Trial

T = TypeVar("T")

TRIES_MAX = 3000
"""So often a shorter run is tried at most."""


@dataclass(frozen=True, slots=True)
class Counterexample:
    """The shortest run found that breaks ``rule``; ``text`` says how."""

    rule: str
    text: str
    steps: tuple[Step, ...]

    def __str__(self) -> str:
        lines = [f"  {place}. {words(step)}" for place, step in enumerate(self.steps, start=1)]
        return "\n".join((f"rule {self.rule}: {RULES[self.rule]}", *lines, f"  => {self.text}"))


def broken_by(data: Mapping[str, Any], steps: Sequence[Step]) -> Broken | None:
    """The rule that a run from the venue's first moment breaks, if it does."""
    try:
        trial = Trial(data)
        trial.begin()
        for step in steps:
            trial.do(*step)
        trial.check_faces()
        trial.check_snapshot()
    except Broken as broken:
        return broken
    except CallerFault as refusal:
        # Mostly an order that makes no sense without what was left out before it.
        return Broken("offered", refusal.detail)
    return None


def shrunk(data: Mapping[str, Any], steps: list[Step], rule: str) -> Counterexample:
    """Leave out whatever is not needed to break ``rule``.

    What only a closer look broke (a replay) may not be found again: then the run is told as it was.
    """
    tries = 0

    def still(some: Sequence[Step]) -> bool:
        nonlocal tries
        tries += 1
        broken = broken_by(data, some) if tries <= TRIES_MAX else None
        return broken is not None and broken.rule == rule

    if still(steps):
        steps = fewer(steps, still)
        steps = _simpler(steps, still)
        steps = fewer(steps, still)
    broken = broken_by(data, steps)
    text = broken.text if broken is not None else "it shows only in the proof's own closer look"
    return Counterexample(rule, text, tuple(steps))


def fewer(steps: list[T], still: Callable[[Sequence[T]], bool]) -> list[T]:
    """Leave out ever smaller pieces, from the back, until no single one can go."""
    size = max(1, len(steps) // 2)
    while True:
        place, went = len(steps), False
        while place > 0:
            start = max(0, place - size)
            rest = steps[:start] + steps[place:]
            if rest and still(rest):
                steps, went = rest, True
            place = start
        if size == 1 and not went:
            return steps
        size = max(1, size // 2) if not went or size > 1 else 1


def _simpler(steps: list[Step], still: Callable[[Sequence[Step]], bool]) -> list[Step]:
    """Wait for rest after each step where the time between does not matter."""
    for place, step in enumerate(steps):
        if step.wait is not None:
            changed = [*steps[:place], Step(step.command), *steps[place + 1 :]]
            if still(changed):
                steps = changed
    return steps
