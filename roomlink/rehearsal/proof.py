"""Every arrangement of the walls, and every wall that moves from there, through the real core and held to the rules.

The arrangements are the leaves of a tree: each wall in turn stays closed or opens. A branch is forked, not run again,
so an arrangement costs the same however many there are. Branches are shared out to processes.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from random import Random
from typing import Any

from roomlink.core.spec import Spec, from_data
from roomlink.errors import CallerFault
from roomlink.rehearsal import circumstances
from roomlink.rehearsal.circumstances import AT_FIRST, AT_THE_PROOF, CIRCUMSTANCES, distinct, every, moved, opened
from roomlink.rehearsal.evenings import EVENINGS
from roomlink.rehearsal.invariants import Broken
from roomlink.rehearsal.shrink import Counterexample, shrunk
from roomlink.rehearsal.trial import Step, Trial

ARRANGEMENTS_MAX = 2**14
"""A venue with more arrangements than this is proved in so many of them, taken at random; the proof says so."""
WORK_MAX = 30_000_000
"""Arrangements times walls times controls: a large venue is proved in fewer arrangements."""
ALONE_MAX = 256
"""So few arrangements are not worth another process."""
BRANCH_ARRANGEMENTS = 64
"""What one process is given at a time."""
SEED = 1
"""Of the dice that choose among too many arrangements: the same ones each time, so that a finding can be seen again."""
EVENINGS_FIRST = 16
"""In so many arrangements of a branch all that an evening may bring is looked at; then one thing in turn."""
CLOSER_LOOK_EVERY = 16
"""One arrangement in so many is also restored from a snapshot and replayed from its entries."""

Progress = Callable[[int, int], object]
"""(arrangements proved, arrangements to prove)"""


@dataclass(frozen=True, slots=True)
class Proof:
    """What was run. ``failure`` is None where every rule held; else the proof ended there."""

    walls: int
    arrangements: int
    transitions: int
    commands: int
    of: int
    """How many arrangements the venue has."""
    failure: Counterexample | None = None

    def __str__(self) -> str:
        part = "all" if self.arrangements == self.of else f"{self.arrangements:,} of"
        done = f"{part} {self.of:,} arrangements of {self.walls} walls, {self.transitions:,} moves of a wall"
        if self.failure is not None:
            return f"after {done} a rule was broken:\n\n{self.failure}"
        return f"{done}, {self.commands:,} commands: every rule holds"


def prove(data: Mapping[str, Any], *, processes: int | None = None, progress: Progress | None = None) -> Proof:
    """Prove a venue's resolved configuration. ``processes`` None: as many as there are processors.

    Never raises for what it finds: a counterexample, shrunk, is in the proof.
    """
    walls = len(data["partitions"])
    total = 2**walls
    controls = sum(len(zone["controls"]) for zone in data["zones"].values())
    branches = _branches(walls, min(ARRANGEMENTS_MAX, max(1, WORK_MAX // max(1, walls * controls))))
    told = progress or (lambda done, of: None)
    amount = sum(2 ** (walls - len(branch)) for branch in branches)
    workers = processes or os.cpu_count() or 1
    counted = Tally()
    for found in _run(data, branches, 1 if total <= ALONE_MAX else workers):
        counted = counted.plus(found)
        told(counted.arrangements, amount)
        if found.steps is not None:
            break
    failure = None if counted.steps is None else shrunk(data, list(counted.steps), counted.rule)
    return Proof(walls, counted.arrangements, counted.transitions, counted.commands, total, failure)


def _branches(walls: int, most: int) -> list[tuple[bool, ...]]:
    """Branches of the tree by the positions of the first walls, with ``most`` leaves at most: all if they fit."""
    leaves = min(BRANCH_ARRANGEMENTS, most, 2**walls)
    depth = walls - (leaves.bit_length() - 1)
    taken = min(2**depth, max(1, most // leaves))
    places = dict.fromkeys(range(2**depth)) if taken == 2**depth else {}
    dice = Random(SEED)
    while len(places) < taken:
        places[dice.getrandbits(depth)] = None
    return [tuple(bool(place >> wall & 1) for wall in range(depth)) for place in places]


@dataclass(frozen=True, slots=True)
class Tally:
    """What a branch came to; with ``steps`` if a rule was broken there."""

    arrangements: int = 0
    transitions: int = 0
    commands: int = 0
    steps: tuple[Step, ...] | None = None
    rule: str = ""

    def plus(self, other: Tally) -> Tally:
        return Tally(
            self.arrangements + other.arrangements,
            self.transitions + other.transitions,
            self.commands + other.commands,
            other.steps if self.steps is None else self.steps,
            self.rule or other.rule,
        )


def _run(data: Mapping[str, Any], branches: list[tuple[bool, ...]], workers: int) -> Iterator[Tally]:
    if workers == 1:
        yield from map(partial(prove_branch, data), branches)
        return
    # Spawned, not forked: a caller may have threads, and not every system can fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _begin, (data,)) as pool:
        waiting = [pool.submit(_prove_mine, branch) for branch in branches]
        try:
            for done in as_completed(waiting):
                yield done.result()
        finally:
            for future in waiting:
                future.cancel()


_mine: list[Mapping[str, Any]] = []
"""In a process of its own: the venue that it proves, told once."""


def _begin(data: Mapping[str, Any]) -> None:
    _mine[:] = [data]


def _prove_mine(branch: tuple[bool, ...]) -> Tally:
    return prove_branch(_mine[0], branch)


def prove_branch(data: Mapping[str, Any], branch: tuple[bool, ...]) -> Tally:
    """Prove the arrangements whose first walls are open as ``branch`` says."""
    one = Branch(from_data(data), data)
    try:
        one.climb(branch)
    except (Broken, CallerFault) as found:
        rule = found.rule if isinstance(found, Broken) else "offered"
        return Tally(one.arrangements, one.transitions, one.commands, one.trial.steps, rule)
    return Tally(one.arrangements, one.transitions, one.commands)


class Branch:
    """Climbs one branch of the tree. ``trial`` is always the one that ran last, so that it tells what broke."""

    def __init__(self, spec: Spec, data: Mapping[str, Any]) -> None:
        self.spec = spec
        self.walls = tuple(spec.partitions)
        self.arrangements = self.transitions = self.commands = 0
        self.data = data
        self.trial: Trial

    def climb(self, branch: tuple[bool, ...]) -> None:
        self.trial = trial = Trial(self.data, self.spec)
        trial.begin()
        for command, wait in every(moved(wall, "closed") for wall in self.walls):
            trial.do(command, wait)
        for command, wait in every(distinct(trial.watch.plan, AT_FIRST)):
            trial.do(command, wait)
        for wall, is_open in zip(self.walls, branch, strict=False):
            for command in opened(trial.watch.plan, wall) if is_open else ():
                trial.do(command)
        self._grow(trial, len(branch))

    def _fork(self, trial: Trial) -> Trial:
        self.trial = trial.fork()
        return self.trial

    def _grow(self, trial: Trial, depth: int) -> None:
        if depth == len(self.walls):
            self._arrangement(trial)
            return
        self._grow(trial, depth + 1)
        other = self._fork(trial)
        for command in opened(other.watch.plan, self.walls[depth]):
            other.do(command)
        self._grow(other, depth + 1)

    def _arrangement(self, arrived: Trial) -> None:
        """Prove one arrangement: what it shows on arrival, and every wall that may move from here."""
        trial = self._fork(arrived)
        plan = trial.watch.plan
        trial.check_faces()
        ready = (
            distinct(plan, AT_THE_PROOF),
            circumstances.travelling(plan, trial),
            circumstances.holding(plan, trial),
        )
        for commands in ready:
            for command, wait in every(commands):
                trial.do(command, wait)
        trial.check_faces()
        closer = self.arrangements % CLOSER_LOOK_EVERY == 0
        if closer:
            trial.check_snapshot()
        before = len(trial.steps)
        for place, wall in enumerate(self.walls):
            fork = self._fork(trial)
            position = "closed" if trial.state.walls[wall].joins else "open"
            CIRCUMSTANCES[(self.arrangements + place) % len(CIRCUMSTANCES)](plan, fork, wall, position)
            self.transitions += 1
            self.commands += len(fork.steps) - before
        if self.walls:
            self._besides(trial, self.walls[self.arrangements % len(self.walls)], closer)
        self.arrangements += 1
        self.commands += before - len(arrived.steps) + 1

    def _besides(self, trial: Trial, wall: str, closer: bool) -> None:
        """What else may happen here, with one wall in turn."""
        plan = trial.watch.plan
        circumstances.lost_sight(plan, self._fork(trial), wall)
        every_one = self.arrangements < EVENINGS_FIRST
        for evening in EVENINGS if every_one else (EVENINGS[self.arrangements % len(EVENINGS)],):
            evening(plan, self._fork(trial), wall)
        circumstances.under_an_override(plan, self._fork(trial), wall)
        if plan.travelling:
            circumstances.flowing(plan, self._fork(trial), wall)
        if plan.spec.travel.mutes:
            circumstances.talking(plan, self._fork(trial), wall)
        if closer:
            position = "closed" if trial.state.walls[wall].joins else "open"
            fork = self._fork(trial)
            fork.check_replay(fork.state, [Step(moved(wall, position))])
