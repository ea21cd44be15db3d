"""What every driver must do: one suite, run by each of them against an independent peer over real sockets.

To use it, subclass ``DriverContract`` in the driver's own tests and give one fixture::

    class TestOsc(DriverContract):
        @pytest.fixture
        async def rig(self) -> AsyncIterator[Rig]:
            peer = MyPeer(port)                      # see Peer; not started yet
            yield Rig(DRIVER, {"host": "127.0.0.1", "port": port}, [{"address": "/a"}, {"address": "/b"}],
                      [(0.25, 0.75), (0.5, 1.0)], peer)
            await peer.stop()

The suite starts and stops the peer, makes the device and runs it through ``Runner``.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import pytest
from pydantic import ValidationError
from structlog.testing import capture_logs

from roomlink.drivers.port import Driver, Value
from roomlink.drivers.runner import DRIVER_FAILED, Health, Runner

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

DRIVEN_S_MAX = 2.0
"""A device that returns has everything again within this."""
NOTICED_S_MAX = 3.0
"""A protocol that detects loss says so within this, when the peer closes what is open."""
AWAY_S = 0.6


class Peer(Protocol):
    """The device's side of the protocol, made of anything but the code under test."""

    async def start(self) -> None:
        """Listen where the configuration says, and forget everything seen before. Called again after ``stop``."""

    async def stop(self) -> None:
        """Go away: close the listener and every connection. Does no harm when called twice, or before ``start``."""

    def seen(self, point: int) -> list[Value]:
        """What it was told for ``rig.points[point]`` since its last start, oldest first; repeats may be left out."""

    async def junk(self) -> None:
        """Send the driver bytes that the protocol does not allow. Where a device never speaks: do nothing."""


@dataclass
class Rig:
    """One driver, what to drive, and the peer that it drives."""

    driver: Driver
    config: dict[str, Any]
    """The device's keys beside ``driver``, as in the YAML."""
    points: Sequence[dict[str, Any]]
    """Two points or more, as in the YAML; all can be driven."""
    values: Sequence[tuple[Value, Value]]
    """For each point two different values of the device's own; the peer must see exactly these."""
    peer: Peer
    confirms: bool = False
    """Whether a value that arrived becomes confirmed, by an answer or by a report."""


@dataclass
class Bench:
    """A running device with all that it said."""

    rig: Rig
    names: list[str]
    runner: Runner
    healths: list[Health] = field(default_factory=list)
    heard: list[tuple[str, Value]] = field(default_factory=list)

    def want(self, which: int, only: int | None = None) -> None:
        """Want the first (0) or the second (1) value at every point, or at one."""
        for index, name in enumerate(self.names):
            if only is None or index == only:
                self.runner.want(name, constant(self.rig.values[index][which]), 0.0)

    def has(self, which: int) -> bool:
        """Whether the peer now has the first or the second value at every point."""
        return all(self.rig.peer.seen(i)[-1:] == [pair[which]] for i, pair in enumerate(self.rig.values))

    async def drives(self, which: int, seconds: float = DRIVEN_S_MAX) -> None:
        """Wait until ``has``; fail after ``seconds``."""
        if not await until(lambda: self.has(which), seconds):
            got = [self.rig.peer.seen(i) for i in range(len(self.names))]
            raise AssertionError(f"not driven in {seconds} s; the peer saw {got}; {self.runner.health}")


def constant(value: Value) -> Callable[[float], Value]:
    """A wanted value that does not change."""
    return lambda _now: value


async def until(condition: Callable[[], bool], seconds: float) -> bool:
    """Whether ``condition`` came true within ``seconds``."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            return False
        await asyncio.sleep(0.01)
    return True


def made(rig: Rig) -> tuple[list[str], Any]:
    """The points' names and a device, from data as a venue's file has it."""
    config = rig.driver.config.model_validate(rig.config)
    points = [rig.driver.point.model_validate(point) for point in rig.points]
    names = [rig.driver.point_name(config, point) for point in points]
    return names, rig.driver.make(config, dict(zip(names, points, strict=True)))


@asynccontextmanager
async def running(rig: Rig) -> AsyncIterator[Bench]:
    """A runner, started; stopped at the end, whatever happened."""
    names, device = made(rig)
    healths: list[Health] = []
    heard: list[tuple[str, Value]] = []
    runner = Runner(
        "device-1", device, time.monotonic, lambda point, value: heard.append((point, value)), healths.append
    )
    runner.start()
    try:
        yield Bench(rig, names, runner, healths, heard)
    finally:
        await runner.stop()
    failed = [health.why for health in healths if health.why.startswith(DRIVER_FAILED)]
    assert not failed, f"only DeviceFault, PointFault, WireFault and OSError may leave a driver: {failed}"


class DriverContract:
    """Subclass it and give the fixture ``rig``."""

    def test_its_keys_are_closed_and_its_points_are_told_apart(self, rig: Rig) -> None:
        """An unknown key is an error; one name a place, whoever writes it down."""
        with pytest.raises(ValidationError):
            rig.driver.config.model_validate({**rig.config, "no-such-key": 1})
        with pytest.raises(ValidationError):
            rig.driver.point.model_validate({**rig.points[0], "no-such-key": 1})
        names, _ = made(rig)
        assert len(set(names)) == len(names) >= 2
        assert made(rig)[0] == names
        assert rig.driver.name == rig.driver.name.lower()
        assert rig.driver.conformity.endswith(".")

    async def test_every_wanted_value_arrives(self, rig: Rig) -> None:
        """What is wanted is sent, and the device counts as up."""
        await rig.peer.start()
        async with running(rig) as bench:
            bench.want(0)
            await bench.drives(0)
            assert bench.runner.health.up
            bench.want(1)
            await bench.drives(1)

    async def test_a_value_is_confirmed_only_by_a_device_that_confirms(self, rig: Rig) -> None:
        """Sent is not confirmed: that takes an answer or a report."""
        await rig.peer.start()
        async with running(rig) as bench:
            bench.want(1)
            await bench.drives(1)

            def confirmed() -> bool:
                return all(point["confirmed"] for point in bench.runner.snapshot().values())

            assert await until(confirmed, DRIVEN_S_MAX if rig.confirms else 0.2) == rig.confirms

    async def test_of_many_values_in_a_row_the_last_one_stays(self, rig: Rig) -> None:
        """Nothing queues: a storm of wishes costs no more than the device's rate, and ends on the last."""
        await rig.peer.start()
        async with running(rig) as bench:
            began = time.monotonic()
            for _ in range(50):
                bench.want(0)
                await asyncio.sleep(0.001)
                bench.want(1)
            await bench.drives(1)
            ticks = (time.monotonic() - began) * bench.runner.device.rate_hz
            assert len(rig.peer.seen(0)) <= 2 * ticks + 10

    async def test_a_device_that_comes_back_has_everything_again(self, rig: Rig) -> None:
        """After an outage all points are driven again, not only those that changed."""
        await rig.peer.start()
        async with running(rig) as bench:
            bench.want(0)
            await bench.drives(0)
            await rig.peer.stop()
            await asyncio.sleep(AWAY_S)
            await rig.peer.start()
            await bench.drives(0)

    async def test_while_a_device_is_away_only_the_latest_value_is_kept(
        self, rig: Rig, caplog: pytest.LogCaptureFixture
    ) -> None:
        """The returning device sees the last wish and nothing older; being away is told once and floods no log."""
        caplog.set_level(logging.INFO)
        await rig.peer.start()
        with capture_logs() as logged:
            await self._away_and_back(rig)
        assert len(logged) + len([r for r in caplog.records if r.name.startswith("roomlink")]) <= 3

    @staticmethod
    async def _away_and_back(rig: Rig) -> None:
        async with running(rig) as bench:
            bench.want(0)
            await bench.drives(0)
            told = len(bench.healths)
            await rig.peer.stop()
            for which in (1, 0, 1, 0, 1):
                bench.want(which)
                await asyncio.sleep(AWAY_S / 5)
            if bench.runner.device.detects_loss:
                assert await until(lambda: not bench.runner.health.up, NOTICED_S_MAX)
                assert bench.runner.health.why
            assert len(bench.healths) - told <= 1
            await rig.peer.start()
            await bench.drives(1)
            for index, (_, last) in enumerate(rig.values):
                assert set(rig.peer.seen(index)) == {last}

    async def test_a_device_may_come_later_than_the_service(self, rig: Rig) -> None:
        """What was wanted before the device was there is driven when it comes."""
        async with running(rig) as bench:
            bench.want(0)
            await asyncio.sleep(AWAY_S)
            await rig.peer.start()
            await bench.drives(0)

    async def test_junk_from_the_device_does_not_end_the_driving(self, rig: Rig) -> None:
        """Bytes that mean nothing cost at most the connection they came over."""
        await rig.peer.start()
        async with running(rig) as bench:
            bench.want(0)
            await bench.drives(0)
            await rig.peer.junk()
            await asyncio.sleep(0.1)
            bench.want(1)
            await bench.drives(1)

    async def test_it_is_closed_at_any_time_and_twice(self, rig: Rig) -> None:
        """Before it was connected, after, and again: close never raises."""
        _, device = made(rig)
        await device.close()
        await rig.peer.start()
        await device.connect(lambda _point, _value: None)
        await device.close()
        await device.close()
        async with running(rig) as bench:
            bench.want(0)
            await bench.drives(0)
            await bench.runner.stop()
        await device.close()
