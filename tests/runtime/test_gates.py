"""Gates before power and motion: when a wanted change may reach the device."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from roomlink.runtime.gates import PowerGate, Supply


def switches(gate: PowerGate, orders: list[tuple[float, bool]], until: float) -> list[tuple[float, bool]]:
    """When the output of a gate changes under orders at times, sampled each 10 ms."""
    pending = sorted(orders)
    found: list[tuple[float, bool]] = []
    sample, last = (lambda t: False), None
    tick = 0
    while tick * 0.01 <= until:
        t = tick * 0.01
        while pending and pending[0][0] <= t:
            _, on = pending.pop(0)
            sample, _ = gate.want(on, t)
        now = sample(t)
        if last is not None and now != last:
            found.append((t, now))
        last = now
        tick += 1
    return found


def test_a_load_stays_off_for_its_least_time_after_the_start_of_the_service() -> None:
    """Nobody knows how long a lamp has been off when the service starts."""
    gate = PowerGate(0.0, 2.0, None, since=0.0)
    sample, at = gate.want(True, 0.5)
    assert at == 2.0
    assert not sample(1.99)
    assert sample(2.0)


def test_a_load_stays_on_for_its_least_time() -> None:
    """Off is held back until ``min_on`` has passed."""
    gate = PowerGate(3.0, 0.0, None, since=0.0)
    gate.want(True, 10.0)
    sample, at = gate.want(False, 11.0)
    assert at == 13.0
    assert sample(12.9)
    assert not sample(13.0)


def test_an_order_taken_back_while_it_waits_switches_nothing() -> None:
    """On, waiting for ``min_off``, then off again: the load was never on."""
    gate = PowerGate(0.0, 5.0, None, since=0.0)
    gate.want(True, 1.0)
    sample, _ = gate.want(False, 2.0)
    assert not any(sample(t) for t in (2.0, 5.0, 9.0))


def test_loads_of_one_supply_are_switched_on_one_after_another() -> None:
    """``stagger`` lies between any two switch-ons of one supply."""
    supply = Supply(0.5)
    gates = [PowerGate(0.0, 0.0, supply, since=-10.0) for _ in range(4)]
    assert [gate.want(True, 1.0)[1] for gate in gates] == [1.0, 1.5, 2.0, 2.5]


def test_an_order_given_again_keeps_its_turn() -> None:
    """The same order heard twice takes one place in the supply's queue."""
    supply = Supply(0.5)
    first, second = (PowerGate(0.0, 0.0, supply, since=-10.0) for _ in range(2))
    first.want(True, 1.0)
    assert second.want(True, 1.0)[1] == 1.5
    assert second.want(True, 1.2)[1] == 1.5


def test_switching_off_waits_for_no_supply() -> None:
    """Off is never staggered."""
    supply = Supply(0.5)
    gates = [PowerGate(0.0, 0.0, supply, since=-10.0) for _ in range(3)]
    for gate in gates:
        gate.want(True, 1.0)
    assert [gate.want(False, 9.0)[1] for gate in gates] == [9.0, 9.0, 9.0]


@given(
    st.lists(st.tuples(st.floats(0.0, 8.0), st.booleans()), max_size=25),
    st.sampled_from([0.0, 0.3, 1.0]),
    st.sampled_from([0.0, 0.5, 1.2]),
)
def test_whatever_is_ordered_the_least_times_hold(orders: list[tuple[float, bool]], on: float, off: float) -> None:
    """Between two changes of the output lies the least time of the state that it leaves."""
    changes = switches(PowerGate(on, off, None, since=0.0), orders, 12.0)
    for (at, state), (later, _) in pairwise(changes):
        assert later - at >= (on if state else off) - 0.011
