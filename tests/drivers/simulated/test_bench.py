"""A simulated device has every fault that a real one has, when it is told to."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from roomlink.drivers.port import Device, DeviceFault, PointFault, Value
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import DRIVER, driver
from roomlink.drivers.simulated.bench import SENT_MAX, Bench
from roomlink.drivers.simulated.link import SimulatedDevice


def made(bench: Bench, *points: dict[str, Any], name: str = "mixer-1") -> Device:
    registry = Registry.of(driver(bench), plugins=[])
    found, config = registry.parse_device(name, {"driver": "simulated"})
    return registry.make_device(found, config, [registry.parse_point(found, point) for point in points])


async def test_the_bench_gives_each_device_by_its_name_in_the_venue() -> None:
    """Before and after it is made; another bench has others."""
    bench, other = Bench(now=lambda: 5.0), Bench()
    stand = bench.device("mixer-1")
    device = made(bench, {"name": "gain"})
    await device.connect(lambda _p, _v: None)
    assert await device.send({"gain": -3.0}) == {"gain"}
    assert bench.device("mixer-1") is stand
    assert bench.names() == ["mixer-1"]
    assert [(sent.at, sent.point, sent.value) for sent in stand.sent] == [(5.0, "gain", -3.0)]
    assert other.device("mixer-1").got("gain") == []


async def test_without_a_bench_it_works_and_shares_nothing() -> None:
    """Two services in one process do not meet."""
    points = {"gain": DRIVER.point.model_validate({"name": "gain"})}
    one, two = (DRIVER.make(DRIVER.config.model_validate({}), points) for _ in range(2))
    assert isinstance(one, SimulatedDevice)
    assert isinstance(two, SimulatedDevice)
    await one.connect(lambda _p, _v: None)
    assert await one.send({"gain": 1.0}) == {"gain"}
    assert two.stand.got("gain") == []


async def test_unplugged_it_is_gone_until_it_is_plugged_in_again() -> None:
    """Every call fails as with a real one, also when the plug was out only for a moment."""
    bench = Bench()
    device, stand = made(bench, {"name": "gain"}), bench.device("mixer-1")
    stand.unplug()
    with pytest.raises(DeviceFault, match="mixer-1 is unplugged"):
        await device.connect(lambda _p, _v: None)
    stand.plug()
    await device.connect(lambda _p, _v: None)
    assert stand.connected
    serve = asyncio.create_task(device.serve())
    await asyncio.sleep(0)
    stand.unplug()
    stand.plug()
    with pytest.raises(DeviceFault, match="unplugged"):
        await serve
    with pytest.raises(DeviceFault, match="unplugged"):
        await device.serve()
    with pytest.raises(DeviceFault, match="not connected"):
        await device.send({"gain": 1.0})
    assert stand.got("gain") == []


async def test_it_keeps_its_values_without_the_cable_but_not_without_power() -> None:
    """Both are told when it is connected again."""
    bench, heard = Bench(), list[tuple[str, Value]]()
    device, stand = made(bench, {"name": "gain", "start": -60.0}, {"name": "mute"}), bench.device("mixer-1")

    async def reconnect() -> list[tuple[str, Value]]:
        stand.plug()
        heard.clear()
        await device.connect(lambda point, value: heard.append((point, value)))
        return list(heard)

    assert await reconnect() == [("gain", -60.0)]
    await device.send({"gain": -3.0, "mute": True})
    stand.unplug()
    assert await reconnect() == [("gain", -3.0), ("mute", True)]
    stand.unplug(power=True)
    assert await reconnect() == [("gain", -60.0)]


async def test_somebody_turns_it_by_hand_or_its_contact_moves() -> None:
    """It reports that at once, and only at points that the venue knows."""
    bench, heard = Bench(), list[tuple[str, Value]]()
    device, stand = made(bench, {"name": "fire", "start": True}), bench.device("mixer-1")
    stand.turn("fire", False)
    await device.connect(lambda point, value: heard.append((point, value)))
    stand.turn("fire", True)
    stand.turn("other", 1)
    assert heard == [("fire", False), ("fire", True)]
    await device.close()
    stand.turn("fire", False)
    assert len(heard) == 2


async def test_it_refuses_one_point_and_takes_it_again() -> None:
    """The others go on."""
    bench = Bench()
    device, stand = made(bench, {"name": "gain"}, {"name": "mute"}), bench.device("mixer-1")
    await device.connect(lambda _p, _v: None)
    stand.refuse("gain", "the front panel is locked")
    with pytest.raises(PointFault, match="gain: the front panel is locked"):
        await device.send({"gain": -3.0})
    assert await device.send({"mute": True}) == {"mute"}
    stand.accept("gain")
    assert await device.send({"gain": -3.0}) == {"gain"}
    assert stand.values == {"mute": True, "gain": -3.0}


async def test_it_is_slow_by_whatever_clock_it_is_given() -> None:
    """So a rehearsal's time passes no faster than it is told; pulled while it hesitates, it has taken nothing."""
    pauses: list[float] = []

    async def pause(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) == 2:
            stand.unplug()

    bench = Bench(pause=pause)
    device, stand = made(bench, {"name": "gain"}), bench.device("mixer-1")
    await device.connect(lambda _p, _v: None)
    stand.slow(3.0)
    await device.send({"gain": 1.0})
    with pytest.raises(DeviceFault):
        await device.send({"gain": 2.0})
    assert pauses == [3.0, 3.0]
    assert stand.got("gain") == [1.0]
    with pytest.raises(ValueError, match="0 s or more"):
        stand.slow(-1.0)


async def test_it_may_leave_values_unconfirmed() -> None:
    """As a device that never answers."""
    bench = Bench()
    device = made(bench, {"name": "gain"})
    bench.device("mixer-1").confirms = False
    await device.connect(lambda _p, _v: None)
    assert await device.send({"gain": 1.0}) == set()


async def test_what_it_remembers_is_bounded() -> None:
    """The oldest goes first."""
    bench = Bench()
    device, stand = made(bench, {"name": "gain"}), bench.device("mixer-1")
    await device.connect(lambda _p, _v: None)
    for value in range(SENT_MAX + 5):
        await device.send({"gain": value})
    assert len(stand.sent) == SENT_MAX
    assert stand.sent[0].value == 5
