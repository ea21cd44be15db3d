"""What a controller shows for a control, from the votes of its linked zones in the order of linking."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from roomlink.core.spec import Value
from roomlink.limits import LEVEL_EPSILON

Vote = tuple[str, Value]
LevelVote = tuple[str, float]


@dataclass(frozen=True, slots=True)
class Feedback:
    """``decided`` is false when the policy yields no value: "undecided" is never taken for "no option on".

    ``mixed``: the zones do not all agree. ``outliers``: the zones that differ from the value shown, or all if none is.
    """

    value: Value
    decided: bool
    mixed: bool
    outliers: tuple[str, ...]


NO_VOTES = Feedback(None, False, False, ())


def _one_value(votes: Sequence[Vote]) -> tuple[Value, bool]:
    value = votes[0][1]
    return (value, True) if all(v == value for _, v in votes) else (None, False)


def _most(votes: Sequence[Vote]) -> tuple[Value, bool]:
    value, count = Counter(v for _, v in votes).most_common(1)[0]
    return (value, True) if 2 * count > len(votes) else (None, False)


def _last(votes: Sequence[Vote]) -> tuple[Value, bool]:
    return votes[-1][1], True


def _level_one_value(votes: Sequence[LevelVote], tolerance: float) -> tuple[float | None, bool]:
    values = [v for _, v in votes]
    return (median(values), True) if max(values) - min(values) <= tolerance else (None, False)


def _level_most(votes: Sequence[LevelVote], tolerance: float) -> tuple[float | None, bool]:
    middle = median(v for _, v in votes)
    near = sum(abs(v - middle) <= tolerance for _, v in votes)
    return (middle, True) if 2 * near > len(votes) else (None, False)


def _level_last(votes: Sequence[LevelVote], tolerance: float) -> tuple[float | None, bool]:
    return votes[-1][1], True


POLICIES: dict[str, Callable[[Sequence[Vote]], tuple[Value, bool]]] = {
    "mismatch-flag": _one_value,
    "majority": _most,
    "last-linked": _last,
}
LEVEL_POLICIES: dict[str, Callable[[Sequence[LevelVote], float], tuple[float | None, bool]]] = {
    "mismatch-flag": _level_one_value,
    "majority": _level_most,
    "last-linked": _level_last,
}


def of_states(policy: str, votes: Sequence[Vote]) -> Feedback:
    """Feedback of a choice, switch or momentary."""
    if not votes:
        return NO_VOTES
    if len(votes) == 1:  # under every policy, and most panels are linked to their own zone alone
        return Feedback(votes[0][1], True, False, ())
    value, decided = POLICIES[policy](votes)
    first = votes[0][1]
    mixed = any(v != first for _, v in votes)
    outliers = tuple(zone for zone, v in votes if not decided or v != value)
    return Feedback(value, decided, mixed, outliers)


def of_levels(policy: str, votes: Sequence[LevelVote], tolerance: float) -> Feedback:
    """Feedback of a level; ``tolerance`` in the level's unit. Zones agree when highest − lowest ≤ tolerance."""
    if not votes:
        return NO_VOTES
    if len(votes) == 1:
        return Feedback(votes[0][1], True, False, ())
    tolerance += LEVEL_EPSILON
    value, decided = LEVEL_POLICIES[policy](votes, tolerance)
    values = [v for _, v in votes]
    mixed = max(values) - min(values) > tolerance
    outliers = tuple(zone for zone, v in votes if value is None or abs(v - value) > tolerance)
    return Feedback(value, decided, mixed, outliers)
