"""One seed, one evening: run, watched, and made as short as it can be where a rule breaks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from random import Random
from typing import Any

from roomlink.rehearsal import invariants
from roomlink.rehearsal.shrink import fewer
from roomlink.simulation import rules, venues
from roomlink.simulation.actions import KINDS, Action, calm, random_actions
from roomlink.simulation.broken import RULES
from roomlink.simulation.place import place_of
from roomlink.simulation.world import FIRST_STAMP, Listening, World

REPLAY_STEPS = 40
"""The whole journal is read again each so many steps."""
TRIES_MAX = 250
"""So often a shorter run is tried at most."""

Configurations = list[dict[str, Any]]


@dataclass(frozen=True)
class Evening:
    """What a seed makes: the configurations of a venue, and what happens there."""

    seed: int
    variants: Configurations
    actions: list[Action]


@dataclass(frozen=True)
class Failure:
    """A rule that broke at ``step`` of the actions (counted from 1), and why."""

    rule: str
    text: str
    step: int


@dataclass(frozen=True)
class Outcome:
    """What came of a seed: ``failure`` None if every rule held; then ``short`` is the shortest run that breaks it too.

    ``digest`` stands for everything that the journal took: it is the same each time that the seed is run.
    """

    seed: int
    steps: int
    hours: float
    entries: int
    restarts: int
    digest: str
    failure: Failure | None = None
    short: Sequence[Action] = ()

    def __str__(self) -> str:
        said = f"seed {self.seed}: {self.steps} steps, {self.entries} entries, {self.restarts} restarts"
        if self.failure is None:
            return said
        failure = self.failure
        lines = [f"  {place}. {action}" for place, action in enumerate(self.short, start=1)]
        head = f"{said}; at step {failure.step} a rule broke, {failure.rule}: {RULES[failure.rule]}"
        return "\n".join(
            (head, f"  => {failure.text}", f"The shortest run that breaks it, {len(lines)} steps:", *lines)
        )

    def as_data(self) -> dict[str, Any]:
        failure = self.failure and {**vars(self.failure), "sentence": RULES[self.failure.rule]}
        own = {name: value for name, value in vars(self).items() if name != "short"}
        return {**own, "failure": failure, "short": [str(action) for action in self.short]}


def evening(seed: int, hours: float, data: Mapping[str, Any] | None = None) -> Evening:
    """The evening of a seed, in a random venue or in that of ``data``."""
    dice = Random(seed)
    variants = venues.variants(venues.random_venue(dice) if data is None else data, dice)
    return Evening(seed, variants, random_actions(dice, place_of(variants), hours))


class Run:
    """One run of a list of actions. ``go`` gives the failure, if a rule breaks."""

    def __init__(self, variants: Configurations) -> None:
        self.step = 0
        self.world: World | None = None
        self._variants = variants

    def go(self, actions: Sequence[Action], *, ends: bool = True) -> Failure | None:
        """``ends``: hold it to the rules of the end too, once everything works again."""
        listening = Listening()
        with listening.on():
            try:
                self.world = World(self._variants, listening)
                for self.step, action in enumerate(actions, start=1):
                    self._do(self.world, action)
                if ends:
                    self._end(self.world)
            except invariants.Broken as broken:
                return Failure(broken.rule, broken.text, self.step)
            except Exception as error:  # an error in the service's code, or in the simulation's: both are to be seen
                return Failure("whole", repr(error), self.step)
        return None

    def _do(self, world: World, action: Action) -> None:
        with world.loop.running():
            KINDS[action.kind].do(world, action.args)
        world.pass_time(action.wait)
        rules.check(world)
        if action.kind == "calm":
            rules.converged(world)
        if self.step % REPLAY_STEPS == 0 and world.writer.at_rest:
            rules.replay(world)

    def _end(self, world: World) -> None:
        with world.loop.running():
            calm(world)
        rules.check(world)
        rules.converged(world)
        rules.replay(world)
        with world.loop.running():
            world.crash(0.0, 1.0)
        world.pass_time(1.0)
        rules.check(world)


def simulate(given: Evening, *, shrinks: bool = True) -> Outcome:
    """Run an evening; where a rule breaks, look for the shortest run that breaks it."""
    run = Run(given.variants)
    failure = run.go(given.actions)
    short: Sequence[Action] = ()
    if failure is not None:
        short = given.actions[: failure.step]
        ends = failure.step == len(given.actions)
        if shrinks:
            short = shortest(given.variants, short, failure.rule, ends=ends)
            again = Run(given.variants).go(short, ends=ends)
            failure = failure if again is None else replace(failure, text=again.text)
    world = run.world
    bodies = world.disk.bodies if world is not None else []
    hours = 0.0 if world is None else (world.now - FIRST_STAMP) / 3600.0
    restarts = 0 if world is None else world.restarts
    digest = sha256(b"\n".join(bodies)).hexdigest()
    return Outcome(given.seed, run.step, hours, len(bodies), restarts, digest, failure, tuple(short))


def shortest(variants: Configurations, actions: Sequence[Action], rule: str, *, ends: bool) -> list[Action]:
    """Leave out ever smaller pieces of ``actions``, and the waits after them, while ``rule`` still breaks."""
    tries = 0

    def still(some: Sequence[Action]) -> bool:
        nonlocal tries
        tries += 1
        failure = Run(variants).go(some, ends=ends) if tries <= TRIES_MAX else None
        return failure is not None and failure.rule == rule

    found = fewer(list(actions), still)
    # What had to stay for the time that passed after it alone becomes that time.
    for place, action in enumerate(found):
        if action.wait and still(waits := [*found[:place], Action("wait", {}, action.wait), *found[place + 1 :]]):
            found = waits
    found = fewer(merged(found), still)
    for place, action in enumerate(found):
        if action.wait and still(at_once := [*found[:place], replace(action, wait=0.0), *found[place + 1 :]]):
            found = at_once
    return found


def merged(actions: Sequence[Action]) -> list[Action]:
    """The same with waits that follow one another, or an action, taken together."""
    found: list[Action] = []
    for action in actions:
        if action.kind == "wait" and found:
            found[-1] = replace(found[-1], wait=round(found[-1].wait + action.wait, 3))
        else:
            found.append(action)
    return found
