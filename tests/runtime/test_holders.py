"""``runtime.holders``: who gives no sign of life is made to let go."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from roomlink import limits
from roomlink.runtime.holders import Holder
from roomlink.testing.clock import VirtualClock, VirtualTimer

SILENCE_S = limits.HOLD_SILENCE_S


@pytest.fixture
def let_go() -> list[float]:
    """The stamps as of which the holder was made to let go."""
    return []


@pytest.fixture
def holder(clock: VirtualClock, let_go: list[float]) -> Holder:
    return Holder(clock, let_go.append)


def test_silence_lets_go_as_of_the_last_sign_and_the_silence(
    holder: Holder, clock: VirtualClock, let_go: list[float]
) -> None:
    """750 ms after the hold began, and not before."""
    began = clock.stamp()
    holder.holding()
    clock.advance(SILENCE_S - 0.001)
    assert let_go == []
    clock.advance(0.001)
    assert let_go == [began + SILENCE_S]


def test_signs_of_life_keep_the_hold(holder: Holder, clock: VirtualClock, let_go: list[float]) -> None:
    """Each puts it off; after the last one the silence counts."""
    holder.holding()
    for _ in range(40):
        clock.advance(limits.HOLD_SIGN_INTERVAL_S)
        holder.sign()
    last = clock.stamp()
    clock.advance(10.0)
    assert let_go == [last + SILENCE_S]


def test_what_waited_to_be_read_is_a_sign_of_when_it_was_sent(
    holder: Holder, clock: VirtualClock, let_go: list[float]
) -> None:
    """Of one that fell silent meanwhile nothing is to begin; one that spoke since is not silent."""
    clock.advance(5.0)
    holder.sign(waited_s=SILENCE_S + 0.1)
    assert holder.silent
    holder.sign()
    holder.sign(waited_s=SILENCE_S + 0.1)
    assert not holder.silent
    holder.holding()
    assert let_go == []


def test_two_lost_signs_are_borne(holder: Holder, clock: VirtualClock, let_go: list[float]) -> None:
    """A short break in the network does not let go."""
    holder.holding()
    clock.advance(limits.HOLD_SIGN_INTERVAL_S * 2.9)
    holder.sign()
    clock.advance(limits.HOLD_SIGN_INTERVAL_S * 2.9)
    assert let_go == []


def test_who_holds_nothing_is_not_watched(holder: Holder, clock: VirtualClock, let_go: list[float]) -> None:
    """No timer runs, before and after."""
    assert clock.waiting == []
    holder.sign()
    clock.advance(10.0)
    holder.holding()
    holder.released()
    assert clock.waiting == []
    clock.advance(10.0)
    assert let_go == []


def test_a_second_hold_is_watched_by_the_same_timer(holder: Holder, clock: VirtualClock, let_go: list[float]) -> None:
    """Several fingers on one panel are let go together, once."""
    holder.holding()
    clock.advance(0.5)
    holder.sign()
    holder.holding()
    assert len(clock.waiting) == 1
    last = clock.stamp()
    clock.advance(5.0)
    assert let_go == [last + SILENCE_S]


def test_a_hold_after_a_silence_is_watched_anew(holder: Holder, clock: VirtualClock, let_go: list[float]) -> None:
    """Having been let go once changes nothing."""
    holder.holding()
    clock.advance(5.0)
    holder.sign()
    holder.holding()
    again = clock.stamp()
    clock.advance(5.0)
    assert let_go[1:] == [again + SILENCE_S]


def test_a_sign_that_comes_too_late_saves_no_hold(let_go: list[float]) -> None:
    """The service itself may have been held up, so that no timer ran: the silence is as long as if it had."""

    class Late(VirtualClock):
        def call_at(self, stamp: float, call: Callable[[], None]) -> VirtualTimer:
            return super().call_at(stamp + 60.0, call)

    late = Late()
    holder = Holder(late, let_go.append)
    holder.holding()
    began = late.stamp()
    late.advance(30.0)
    holder.sign()
    assert let_go == [began + limits.HOLD_SILENCE_S]
    holder.sign()
    late.advance(120.0)
    assert len(let_go) == 1
