"""Gates before power and motion: when a wanted change may reach the device."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import pairwise
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.records import Motion
from roomlink.drivers.outbox import Outbox, Sample
from roomlink.drivers.port import Value
from roomlink.drivers.runner import Runner
from roomlink.runtime.gates import MotionGate, PowerGate, Supply
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def switches(gate: PowerGate, orders: list[tuple[float, bool]], until: float) -> list[tuple[float, bool]]:
    """When the output of a gate changes under orders at times, sampled each 10 ms."""
    pending = sorted(orders)
    found: list[tuple[float, bool]] = []
    sample: Callable[[float], bool] = lambda t: False  # noqa: E731  # until the first order
    last: bool | None = None
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


class Cable:
    """What a ``MotionGate`` needs of a runner, on virtual time, and the device at its other end."""

    def __init__(self, lag: float) -> None:
        self.outbox = Outbox()
        self.lag = lag
        self.device: dict[str, bool] = {}
        self.history: list[tuple[float, str, bool]] = []
        self._on_its_way: list[tuple[float, float, dict[str, Value]]] = []

    def want(self, point: str, wanted: Sample, until: float) -> None:
        self.outbox.want(point, wanted, until)

    def hurry(self) -> None:
        """It sends whenever it can."""

    def step(self, now: float) -> None:
        """One turn of a runner: it sends, waits until that has arrived, and only then sends again."""
        if self._on_its_way:
            taken, arrives, values = self._on_its_way[0]
            if now < arrives:
                return
            self._on_its_way.clear()
            for point, value in values.items():
                if self.device.get(point, False) != value:
                    self.history.append((now, point, bool(value)))
                self.device[point] = bool(value)
            self.outbox.sent(values, set(), taken, now)
        if values := self.outbox.take(now):
            self._on_its_way.append((now, now + self.lag, values))


@pytest.mark.parametrize("lag", [0.0, 0.12, 0.7])
def test_a_thousand_random_orders_never_harm_a_reversing_shade(lag: float) -> None:
    """At the device: never both directions, never less than the dead time, never past the longest run."""
    chance = random.Random(7)
    dead_time, max_run, tick = 1.0, 4.0, 0.05
    shade = {"kind": "motion", "travel": 3.0, "max_run": max_run, "dead_time": dead_time}
    driver = Driver(venues.row(1, controls={"shade": shade}), checked=False)
    cable = Cable(lag)
    gate = MotionGate(cast(Runner, cable), {"open": "up", "close": "down"}, dead_time)
    gate.want(None, None, driver.now)
    seen = None
    for _ in range(1000):
        driver.act("a", "shade", chance.choice(["open", "close", "stop"]))
        for _ in range(chance.randrange(1, 60)):
            record = driver.state.controls["a", "shade"]
            assert isinstance(record, Motion)
            if record != seen:
                seen = record
                gate.want(record.running, record.until, driver.now)
            cable.step(driver.now)
            assert not (cable.device.get("up") and cable.device.get("down"))
            driver.advance(tick)
    on: dict[str, float] = {}
    off: dict[str, float] = {}
    runs = 0
    for at, point, value in cable.history:
        other = "down" if point == "up" else "up"
        if value:
            runs += 1
            on[point] = at
            assert at - off.get(other, -1e9) >= dead_time - 1e-6
        else:
            off[point] = at
            # What is on its way when the run ends arrives by the lag later, and a sample may be that much late.
            assert at - on[point] <= max_run + 2 * lag + 2 * tick
    assert runs > 150


def rack(*amplifiers: bool, stagger: float = 0.5) -> tuple[Supply, list[PowerGate]]:
    """Loads of one supply; True for one that comes on last."""
    supply = Supply(stagger)
    gates = [PowerGate(0.0, 0.0, supply, since=-10.0, last_on=last) for last in amplifiers]
    supply.loads.update({str(n): gate for n, gate in enumerate(gates)})
    return supply, gates


def ordered(supply: Supply, gates: list[PowerGate], on: bool, now: float) -> list[float]:
    """All loads are ordered at one time; gives when each is let through."""
    for gate in gates:
        gate.want(on, now)
        supply.arrange(now)
    return [gate.at or 0.0 for gate in gates]


def test_amplifiers_come_on_after_all_others_of_their_supply() -> None:
    """Wherever they stand in the order of the configuration, and no two loads at once."""
    supply, gates = rack(True, False, True, False)
    times = ordered(supply, gates, True, 1.0)
    assert min(times[0], times[2]) > max(times[1], times[3])
    assert min(later - at for at, later in pairwise(sorted(times))) >= 0.5


def test_amplifiers_go_off_before_all_others_of_their_supply() -> None:
    """The others wait until they are; an amplifier that is not ordered off is waited for by nobody."""
    supply, gates = rack(False, True, False)
    ordered(supply, gates, True, 1.0)
    times = ordered(supply, gates, False, 20.0)
    assert times == [20.5, 20.0, 20.5]
    supply, gates = rack(False, True)
    ordered(supply, gates, True, 1.0)
    assert gates[0].want(False, 20.0)[1] == 20.0
    assert supply.arrange(20.0) == []


def test_a_lamp_stays_on_until_it_has_cooled() -> None:
    """Ordered on again meanwhile it just stays on; an override waits for no lamp."""
    gate = PowerGate(0.0, 0.0, None, since=-10.0, cool=60.0)
    gate.want(True, 0.0)
    sample, at = gate.want(False, 100.0)
    assert (at, sample(159.9), sample(160.0)) == (160.0, True, False)
    sample, _ = gate.want(True, 120.0)
    assert all(sample(t) for t in (120.0, 161.0, 500.0))
    gate.want(False, 600.0)
    sample, at = gate.want(False, 610.0, at_once=True)
    assert (at, sample(610.0)) == (610.0, False)
