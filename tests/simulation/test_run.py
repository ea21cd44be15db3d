"""Random evenings hold every rule; what is broken on purpose is found, told with its seed, and made short."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from random import SystemRandom
from typing import Any

import pytest

from roomlink.core import leading, orders
from roomlink.core.events import ControlSet
from roomlink.core.records import Choice
from roomlink.core.state import Draft
from roomlink.rehearsal.shrink import fewer
from roomlink.runtime import touch
from roomlink.runtime.holders import Holder
from roomlink.simulation.actions import Action
from roomlink.simulation.disk import Disk
from roomlink.simulation.run import Outcome, evening, merged, simulate

HOURS = 2.0
FIXED = (11, 2026)
FRESH = int(os.environ.get("ROOMLINK_SEEDS", "1"))
SEEDS_MAX = 40
"""In so many evenings a planted fault must show."""

Plant = Callable[[pytest.MonkeyPatch], None]


@pytest.mark.parametrize("seed", FIXED)
def test_known_evenings_hold_every_rule(seed: int) -> None:
    """Seeds that were looked at before: with crashes, lost devices, failing disks and everything else in them."""
    outcome = simulate(evening(seed, HOURS))
    assert outcome.failure is None, str(outcome)
    assert outcome.restarts > 0
    assert outcome.hours >= HOURS


@pytest.mark.parametrize("_number", range(FRESH))
def test_evenings_that_nobody_has_seen_hold_every_rule(_number: int) -> None:
    """Another seed at each run, printed; ``ROOMLINK_SEEDS`` says how many."""
    seed = SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    outcome = simulate(evening(seed, HOURS))
    assert outcome.failure is None, str(outcome)


def test_a_seed_gives_the_same_journal_whatever_order_sets_have() -> None:
    """Two processes that hash differently write the same bytes."""
    code = "from roomlink.simulation.run import *; print(simulate(evening(5, 0.3)).digest)"
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": hashes},
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        ).stdout
        for hashes in ("1", "2")
    }
    assert len(digests) == 1
    assert digests.pop().strip()


# What is planted


def no_links(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leading, "_settle_links", lambda draft, controller, group: None)


def no_gap(patch: pytest.MonkeyPatch) -> None:
    def at_once(draft: Draft, zone: str, control: str, option: str | None, *, by: str) -> None:
        draft.emit(ControlSet(zone, control, Choice(option, by=by)))

    patch.setattr(orders, "set_choice", at_once)


def lost_entry(patch: pytest.MonkeyPatch) -> None:
    def crash(self: Disk, unwritten: Any, kept: int) -> None:
        self.bodies = self.bodies[:-1]
        self.open_again()

    patch.setattr(Disk, "crash", crash)


def untold_faces(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(touch, "spread", lambda found, state: None)


def no_silence(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Holder, "_check", lambda self: None)


PLANTED: dict[str, tuple[Plant, set[str]]] = {
    "links are not settled when groups change": (no_links, {"links", "feedback"}),
    "a choice makes without a gap": (no_gap, {"gap"}),
    "an acknowledged entry is lost at a crash": (lost_entry, {"acknowledged"}),
    "panels are not told of feedback": (untold_faces, {"picture"}),
    "nobody looks after those who hold": (no_silence, {"holder"}),
}


@pytest.mark.parametrize("what", PLANTED)
def test_what_is_broken_on_purpose_is_found(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault in the service shows within some evenings, as the rule that it breaks."""
    plant, rules = PLANTED[what]
    plant(monkeypatch)
    failure = first_failure()
    assert failure is not None
    assert failure.failure is not None
    assert failure.failure.rule in rules, str(failure)


def first_failure(hours: float = HOURS) -> Outcome | None:
    for seed in range(SEEDS_MAX):
        outcome = simulate(evening(seed, hours), shrinks=False)
        if outcome.failure is not None:
            return outcome
    return None


def test_a_failing_evening_is_told_as_a_few_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the many steps before a rule broke those few stay that break it, and they are told in words."""
    no_gap(monkeypatch)
    found = first_failure(0.5)
    assert found is not None
    outcome = simulate(evening(found.seed, 0.5))
    assert outcome.failure is not None
    assert outcome.failure.rule == "gap"
    assert len(outcome.short) <= 6 < outcome.failure.step
    told = str(outcome)
    assert told.startswith(f"seed {found.seed}: ")
    assert f"at step {outcome.failure.step} a rule broke, gap: a choice breaks before it makes" in told
    assert told.count("\n") == len(outcome.short) + 2


def test_shrinking_keeps_the_order_and_only_what_is_needed() -> None:
    """Whatever may go goes, in pieces and one by one."""
    steps = list(range(40))
    assert fewer(steps, lambda some: {3, 17, 31} <= set(some)) == [3, 17, 31]


def test_waits_that_follow_one_another_are_one() -> None:
    """Nothing that happens twice is something that happens once, for longer."""
    actions = [Action("snapshot", {}, 1.0), Action("wait", {}, 2.5), Action("wait", {}, 1.5), Action("calm", {}, 0.0)]
    assert merged(actions) == [Action("snapshot", {}, 5.0), Action("calm", {}, 0.0)]
