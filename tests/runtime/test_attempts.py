"""``runtime.attempts``: guessing takes longer than it is worth."""

from __future__ import annotations

import pytest

from roomlink import limits
from roomlink.errors import TooMany
from roomlink.runtime.attempts import Attempts, network

KIM, HERE = ("name", "kim"), ("address", "192.0.2.7")


def tries(attempts: Attempts, now: float, *subjects: tuple[str, str]) -> int:
    """How many tries are taken at one instant."""
    for number in range(1000):
        try:
            attempts.begin(now, *subjects)
        except TooMany:
            return number
    raise AssertionError("there is no end to it")


def test_a_few_wrong_tries_are_free_and_then_the_wait_doubles() -> None:
    """Up to a bound that is short for a name: somebody else's guesses must not keep its owner out."""
    attempts = Attempts()
    assert tries(attempts, 0.0, KIM) == limits.TRIES_FREE
    waits, now = [], 0.0
    for _ in range(12):
        with pytest.raises(TooMany) as caught:
            attempts.begin(now, KIM)
        waits.append(caught.value.retry_s)
        now += caught.value.retry_s
        attempts.begin(now, KIM)
    assert waits[:6] == [1, 2, 4, 8, 16, 32]
    assert max(waits) == limits.TRY_WAIT_NAME_S_MAX


def test_nobody_is_told_to_try_again_in_no_time() -> None:
    """A part of a second counts as one, in the words as in Retry-After."""
    attempts = Attempts()
    tries(attempts, 0.0, KIM)
    with pytest.raises(TooMany, match="try again in 1 s") as caught:
        attempts.begin(limits.TRY_WAIT_S - 0.1, KIM)
    assert caught.value.retry_s == 1


def test_a_try_that_comes_too_early_counts_for_nothing() -> None:
    """Else one who tries on and on would never get in."""
    attempts = Attempts()
    tries(attempts, 0.0, KIM)
    tries(attempts, 0.5, KIM)
    attempts.begin(1.0, KIM)


def test_an_address_is_counted_over_all_names() -> None:
    """And waits longer than a name does."""
    attempts = Attempts()
    for number in range(limits.TRIES_FREE):
        attempts.begin(0.0, ("name", f"n{number}"), HERE)
    with pytest.raises(TooMany):
        attempts.begin(0.0, ("name", "another"), HERE)
    attempts.begin(0.0, ("name", "another"), ("address", "192.0.2.8"))


def test_a_right_password_forgives_the_name_but_not_the_address() -> None:
    """Or one's own password would allow any number of guesses at others'."""
    attempts = Attempts()
    for _ in range(limits.TRIES_FREE - 1):
        attempts.begin(0.0, KIM, HERE)
    attempts.right(KIM, HERE)
    assert tries(attempts, 0.0, KIM) == limits.TRIES_FREE
    assert tries(attempts, 0.0, HERE) == 2


def test_wrong_tries_are_forgotten_after_an_hour() -> None:
    """Without any right one."""
    attempts = Attempts()
    tries(attempts, 0.0, KIM)
    assert tries(attempts, limits.TRIES_FORGOTTEN_S + 1.0, KIM) == limits.TRIES_FREE


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oldest are forgotten."""
    monkeypatch.setattr(limits, "TRIES_KEPT_MAX", 10)
    attempts = Attempts()
    for number in range(100):
        attempts.begin(float(number), ("address", f"192.0.2.{number}"))
    assert len(attempts._tries) == 10


def test_so_many_refusals_an_hour_are_told_one_by_one() -> None:
    """The others are counted, and told with the next."""
    attempts = Attempts()
    told = [attempts.to_tell(0.0) for _ in range(limits.REFUSALS_TOLD_HOURLY_MAX + 5)]
    assert told == [0] * limits.REFUSALS_TOLD_HOURLY_MAX + [None] * 5
    assert attempts.to_tell(3600.0) == 5
    assert attempts.to_tell(3600.0) == 0


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("local", "local"),
    ],
)
def test_addresses_of_one_household_count_as_one(address: str, counted: str) -> None:
    """There are more of version 6 than anybody could count."""
    assert network(address) == counted
