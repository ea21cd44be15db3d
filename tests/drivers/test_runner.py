"""The runner drives whatever device it is given, through every outage. In virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault
from roomlink.drivers.runner import BACKOFF_S_MAX, DRIVER_FAILED, STEADY_S, STOP_S_MAX, Health, Runner
from tests.drivers.leaping import leap

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


class Device:
    """Does what its attributes say; notes what it is asked."""

    detects_loss = True

    def __init__(self, rate_hz: float = 10.0) -> None:
        self.rate_hz = rate_hz
        self.there = True
        self.sent: list[tuple[float, dict[str, Value]]] = []
        self.connects: list[float] = []
        self.closes = 0
        self.refuses: set[Value] = set()
        self.serves: Callable[[], Awaitable[None]] = self._wait
        self.takes_s = 0.0
        self.hear: Hear = lambda _point, _value: None
        self.lost = asyncio.Event()

    async def connect(self, hear: Hear) -> None:
        self.connects.append(now())
        if not self.there:
            raise DeviceFault("no answer")
        self.hear = hear
        self.lost.clear()

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        await asyncio.sleep(self.takes_s)
        if not self.there:
            raise DeviceFault("gone")
        for point, value in values.items():
            if value in self.refuses:
                raise PointFault(point, f"{value} is too much")
        self.sent.append((now(), dict(values)))
        return set()

    async def serve(self) -> None:
        await self.serves()

    async def close(self) -> None:
        self.closes += 1

    async def _wait(self) -> None:
        await self.lost.wait()
        raise DeviceFault("lost")

    @property
    def got(self) -> list[dict[str, Value]]:
        return [values for _, values in self.sent]


def now() -> float:
    return asyncio.get_running_loop().time()


def constant(value: Value) -> Callable[[float], Value]:
    return lambda _t: value


@asynccontextmanager
async def running(device: Device) -> AsyncIterator[tuple[Runner, list[Health]]]:
    healths: list[Health] = []
    runner = Runner("device-1", device, now, lambda _point, _value: None, healths.append)
    runner.start()
    try:
        yield runner, healths
    finally:
        await runner.stop()


def test_a_ramp_is_followed_at_the_devices_rate_and_ends_exactly_on_its_target() -> None:
    """Samples go out no oftener than the rate; the last is the target itself, then nothing more is sent."""

    async def story() -> None:
        device = Device(rate_hz=10.0)
        async with running(device) as (runner, _):
            start = now()
            runner.want("level", lambda t: -60.0 + 20.0 * min((t - start) / 3.0, 1.0), start + 3.0)
            await asyncio.sleep(10.0)
            times = [at for at, _ in device.sent]
            assert all(b - a >= 0.1 - 1e-9 for a, b in pairwise(times))
            assert 29 <= len(times) <= 32
            assert device.got[-1] == {"level": -40.0}
            assert times[-1] <= start + 3.2
            assert runner.outbox.idle

    leap(story())


def test_of_wishes_faster_than_the_rate_the_last_wins() -> None:
    """Between two sends there is one place a point."""

    async def story() -> None:
        device = Device(rate_hz=2.0)
        async with running(device) as (runner, _):
            for value in range(100):
                runner.want("a", constant(value), 0.0)
                await asyncio.sleep(0.01)
            await asyncio.sleep(1.0)
            assert len(device.sent) <= 4
            assert device.got[-1] == {"a": 99}

    leap(story())


def test_a_value_wanted_while_another_is_on_its_way_is_sent_next() -> None:
    """A slow device does not make a newer wish be taken for sent."""

    async def story() -> None:
        device = Device()
        device.takes_s = 1.0
        async with running(device) as (runner, _):
            runner.want("a", constant(1), 0.0)
            await asyncio.sleep(0.5)
            runner.want("a", constant(2), 0.0)
            await asyncio.sleep(5.0)
            assert device.got == [{"a": 1}, {"a": 2}]

    leap(story())


def test_who_may_send_no_more_only_lets_motion_rest_as_it_stops() -> None:
    """Another drives all else by then; permission is asked before each sending."""

    async def story() -> None:
        device = Device()
        may = [True]
        runner = Runner(
            "device-1", device, now, lambda _p, _v: None, lambda _h: None, may_send=lambda: may[0], resting={"screen"}
        )
        runner.start()
        runner.want("house", constant(1), 0.0)
        runner.want("screen", constant(True), 0.0)
        await asyncio.sleep(1.0)
        may[0] = False
        runner.want("house", constant(2), 0.0)
        runner.want("screen", constant(False), 0.0)
        await asyncio.sleep(5.0)
        assert device.got == [{"house": 1, "screen": True}]
        await runner.stop()
        assert device.got[1:] == [{"screen": False}]

    leap(story())


def test_everything_is_driven_again_after_an_outage() -> None:
    """All points, with their latest values, within 2 s of the device's return."""

    async def story() -> None:
        device = Device()
        async with running(device) as (runner, healths):
            runner.want("a", constant(1), 0.0)
            runner.want("b", constant(2), 0.0)
            await asyncio.sleep(1.0)
            device.there = False
            device.lost.set()
            await asyncio.sleep(60.0)
            runner.want("a", constant(3), 0.0)
            await asyncio.sleep(0.7)
            device.sent.clear()
            device.there, back = True, now()
            await asyncio.sleep(5.0)
            assert device.got == [{"a": 3, "b": 2}]
            assert device.sent[0][0] - back <= 2.0
            assert [health.up for health in healths] == [True, False, True]

    leap(story())


def test_a_device_that_is_away_for_hours_is_still_tried() -> None:
    """The wait between attempts is bounded however many failed, and one outage is told once."""

    async def story() -> None:
        device = Device()
        device.there = False
        async with running(device) as (_, healths):
            await asyncio.sleep(2 * 3600.0)
            late = device.connects[-100:]
            assert now() - late[-1] <= BACKOFF_S_MAX + 0.1
            assert [health.up for health in healths] == [False]
            assert healths[0].why == "no answer"

    leap(story())


def test_a_connection_that_comes_and_goes_is_told_once() -> None:
    """A device that accepts and hangs up does not flood the log, and is not asked oftener than the backoff."""

    async def story() -> None:
        device = Device()

        async def hang_up() -> None:
            await asyncio.sleep(0.01)
            raise DeviceFault("hung up")

        device.serves = hang_up
        async with running(device) as (_, healths):
            await asyncio.sleep(60.0)
            assert [health.up for health in healths] == [True, False]
            assert len(device.connects) <= 90
            device.serves = device._wait
            await asyncio.sleep(BACKOFF_S_MAX + STEADY_S + 0.1)
            assert healths[-1].up

    leap(story())


@pytest.mark.parametrize("error", [WireFault("junk"), OSError("no route"), EOFError(), TimeoutError()])
def test_what_a_lost_connection_raises_is_an_outage(error: Exception) -> None:
    """Faults of the wire and of the network end the connection, not the driving."""

    async def story() -> None:
        device = Device()

        async def fail() -> None:
            await asyncio.sleep(0.5)
            raise error

        device.serves = fail
        async with running(device) as (_, healths):
            await asyncio.sleep(5.0)
            assert len(device.connects) > 2
            assert healths[1].why
            assert not healths[1].why.startswith(DRIVER_FAILED)

    leap(story())


def test_a_driver_that_raises_anything_else_is_named_and_tried_again() -> None:
    """A third party's mistake is told as the driver's, and the device is not given up."""

    async def story() -> None:
        device = Device()

        async def fail() -> None:
            raise KeyError("oops")

        device.serves = fail
        async with running(device) as (runner, healths):
            await asyncio.sleep(0.01)
            assert healths[-1].why.startswith(DRIVER_FAILED)
            device.serves = device._wait
            runner.want("a", constant(1), 0.0)
            await asyncio.sleep(3.0)
            assert device.got == [{"a": 1}]

    leap(story())


def test_a_refused_point_does_not_hold_up_the_others() -> None:
    """The refusal is kept for people to see; the others are sent; another value is tried."""

    async def story() -> None:
        device = Device()
        device.refuses = {7}
        async with running(device) as (runner, healths):
            runner.want("a", constant(7), 0.0)
            runner.want("b", constant(1), 0.0)
            await asyncio.sleep(1.0)
            assert device.got == [{"b": 1}]
            assert runner.snapshot()["a"]["fault"] == "a: 7 is too much"
            runner.want("a", constant(8), 0.0)
            await asyncio.sleep(1.0)
            assert device.got[-1] == {"a": 8}
            assert runner.snapshot()["a"]["fault"] is None
            assert [health.up for health in healths] == [True]

    leap(story())


def test_a_point_that_was_never_asked_for_cannot_be_refused() -> None:
    """A driver that blames another point has lost its way: the connection is made anew."""

    async def story() -> None:
        device = Device()

        async def blame(values: Mapping[str, Value]) -> set[str]:
            raise PointFault("elsewhere", "no")

        device.send = blame  # type: ignore[method-assign]  # a broken device
        async with running(device) as (runner, healths):
            runner.want("a", constant(1), 0.0)
            await asyncio.sleep(0.05)
            assert not healths[-1].up

    leap(story())


def test_a_report_confirms_what_was_sent_and_is_heard_once() -> None:
    """A repeated report is no news; a report that rounds to 32 bits still confirms."""

    async def story() -> None:
        device = Device()
        heard: list[tuple[str, Value]] = []
        runner = Runner("device-1", device, now, lambda point, value: heard.append((point, value)), lambda _h: None)
        runner.start()
        runner.want("a", constant(-28.3), 0.0)
        await asyncio.sleep(1.0)
        assert not runner.snapshot()["a"]["confirmed"]
        device.hear("a", -28.299999237060547)
        device.hear("a", -28.299999237060547)
        assert runner.snapshot()["a"]["confirmed"]
        assert heard == [("a", -28.299999237060547)]
        await runner.stop()

    leap(story())


def test_stopping_sends_what_is_due_and_says_good_bye() -> None:
    """The last wish before the stop is not lost, however slow the rate."""

    async def story() -> None:
        device = Device(rate_hz=1.0)
        async with running(device) as (runner, _):
            runner.want("a", constant(1), 0.0)
            await asyncio.sleep(0.1)
            runner.want("a", constant(2), 0.0)
            await runner.stop()
            assert device.got == [{"a": 1}, {"a": 2}]
            assert device.closes == 1
            await runner.stop()

    leap(story())


@pytest.mark.parametrize("there", [True, False])
def test_stopping_does_not_wait_for_a_device_that_hangs(there: bool) -> None:
    """A device that takes for ever, or is away, holds up the stop for a bounded time."""

    async def story() -> None:
        device = Device()
        device.there, device.takes_s = there, 1000.0
        async with running(device) as (runner, _):
            runner.want("a", constant(1), 0.0)
            await asyncio.sleep(10.0)
            began = now()
            await runner.stop()
            assert now() - began <= 2 * STOP_S_MAX
            assert device.closes >= 1

    leap(story())


def test_a_good_bye_that_fails_or_hangs_does_not_end_the_driving() -> None:
    """Rules can be broken; the device is connected again all the same."""

    async def story() -> None:
        device = Device()

        async def broken() -> None:
            device.closes += 1
            if device.closes == 1:
                raise RuntimeError("cannot close")
            await asyncio.sleep(1000.0)

        device.close = broken  # type: ignore[method-assign]  # a broken device
        async with running(device):
            for _ in range(2):
                await asyncio.sleep(5.0)
                device.lost.set()
            await asyncio.sleep(5.0)
            assert len(device.connects) == 3

    leap(story())
