"""The Modbus driver against pymodbus's server: contacts, refusals, its watchdog, the pulled plug."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator
from typing import Any

import pytest
from pydantic import ValidationError
from pymodbus.constants import ExcCodes

from roomlink.drivers.modbus import DRIVER
from roomlink.drivers.modbus.link import ModbusDevice
from roomlink.drivers.port import DeviceFault, WireFault
from tests.contracts.driver import Rig, constant, made, running, until
from tests.drivers.modbus.peer import BytePeer, RelayBox
from tests.drivers.ports import free_tcp


@pytest.fixture
async def box() -> AsyncIterator[RelayBox]:
    peer = RelayBox(free_tcp())
    await peer.start()
    yield peer
    await peer.stop()


def rig(box: RelayBox, *points: dict[str, Any], **config: Any) -> Rig:
    box.points = list(points)
    at = {"host": "127.0.0.1", "port": box.port, "poll": "20ms"}
    return Rig(DRIVER, {**at, **config}, list(points), [], box)


async def test_a_contact_that_closes_is_reported_once(box: RelayBox) -> None:
    """A change is news; the same reading in the next poll is none."""
    async with running(rig(box, {"discrete_input": 5}, {"input_register": 2})) as bench:
        assert await until(lambda: len(bench.heard) == 2, 3)
        await box.set(2, 5, True)
        await box.set(4, 2, 215)
        assert await until(lambda: len(bench.heard) == 4, 3)
        polls = len(box.requests)
        assert await until(lambda: len(box.requests) > polls + 6, 3)
        assert sorted(bench.heard[2:]) == [("discrete_input-5", True), ("input_register-2", 215)]


async def test_neighbouring_coils_go_in_one_request(box: RelayBox) -> None:
    """A scene that switches eight relays is one write: function 0F."""
    points = [{"coil": n} for n in range(8)]
    async with running(rig(box, *points)) as bench:
        assert await until(lambda: bench.runner.health.up, 3)
        for name in bench.names:
            bench.runner.want(name, constant(True), 0.0)
        assert await until(lambda: len(box.writes) == 8, 3)
        assert {r[0] for r in box.requests} == {1, 15}


async def test_a_device_without_multiple_writes_gets_single_ones(box: RelayBox) -> None:
    """An illegal function is asked for once a connection."""
    box.refuse[15] = ExcCodes.ILLEGAL_FUNCTION
    async with running(rig(box, {"coil": 1}, {"coil": 2})) as bench:
        for value in (True, False):
            for name in bench.names:
                bench.runner.want(name, constant(value), 0.0)
            assert await until(lambda v=value: box.writes[-2:] == [("coil", 1, v), ("coil", 2, v)], 3)  # type: ignore[misc]  # mypy cannot type a default
        assert [r[0] for r in box.requests].count(15) == 1


async def test_an_address_that_the_device_lacks_is_that_points_fault(box: RelayBox) -> None:
    """The others are driven, and the device stays up."""
    async with running(rig(box, {"coil": 1}, {"coil": 900}, {"discrete_input": 2})) as bench:
        for name in bench.names:
            bench.runner.want(name, constant(True), 0.0)
        assert await until(lambda: set(box.writes) == {("coil", 1, 1)} and bench.runner.outbox.idle, 3)
        faults = {name: place["fault"] for name, place in bench.runner.snapshot().items()}
        assert faults["coil-1"] is None
        assert "no such address" in faults["coil-900"]
        assert "only read" in faults["discrete_input-2"]
        assert bench.runner.health.up


async def test_an_input_that_cannot_be_read_is_logged_once(box: RelayBox, caplog: pytest.LogCaptureFixture) -> None:
    """A refused gap is read around; a refused address is given up with a warning."""
    caplog.set_level(logging.WARNING)
    async with running(rig(box, {"discrete_input": 60}, {"discrete_input": 70})) as bench:
        assert await until(lambda: bench.heard == [("discrete_input-60", False)], 3)
        polls = len(box.requests)
        assert await until(lambda: len(box.requests) > polls + 4, 3)
        ours = [r for r in caplog.records if r.name.startswith("roomlink")]
        assert len(ours) == 1
        assert "discrete_input-70 is not read" in ours[0].getMessage()


async def test_a_busy_device_is_tried_again(box: RelayBox) -> None:
    """Busy is no refusal for good: when it is over, the value arrives."""
    async with running(rig(box, {"coil": 1})) as bench:
        assert await until(lambda: bench.runner.health.up, 3)
        box.refuse[5] = ExcCodes.DEVICE_BUSY
        bench.runner.want("coil-1", constant(True), 0.0)
        assert await until(lambda: not bench.runner.health.up, 3)
        box.refuse.clear()
        assert await until(lambda: box.writes == [("coil", 1, 1)], 2)
        assert bench.runner.snapshot()["coil-1"]["fault"] is None


async def test_a_relay_turned_by_hand_is_no_longer_confirmed(box: RelayBox) -> None:
    """What the device reports counts, not what it once answered; also when that is what it was before the write."""
    async with running(rig(box, {"coil": 1})) as bench:
        bench.runner.want("coil-1", constant(True), 0.0)
        assert await until(lambda: bool(bench.runner.snapshot()["coil-1"]["confirmed"]), 3)
        await box.set(1, 1, False)
        assert await until(lambda: not bench.runner.snapshot()["coil-1"]["confirmed"], 3)
        assert bench.heard[-1] == ("coil-1", False)


async def test_a_register_that_rounds_still_confirms(box: RelayBox) -> None:
    """21.46 in steps of 0.1 is 215 counts; reading 215 is reading what was sent."""
    async with running(rig(box, {"register": 3, "step": 0.1})) as bench:
        bench.runner.want("register-3", constant(21.46), 0.0)
        assert await until(lambda: ("register-3", 21.46) in bench.heard, 3)
        assert bench.runner.snapshot()["register-3"]["confirmed"]
        await box.set(3, 3, 216)
        assert await until(lambda: bench.heard[-1] == ("register-3", 21.6), 3)


async def test_the_heartbeat_counts_while_the_service_is_there_and_ends_with_it(box: RelayBox) -> None:
    """The device's watchdog sees a change every time, and none after the end."""
    async with running(rig(box, {"coil": 1}, heartbeat={"register": 40, "every": "50ms"})):
        assert await until(lambda: len(box.writes) >= 5, 2)
    beats = [value for kind, address, value in box.writes if (kind, address) == ("register", 40)]
    assert beats == list(range(1, len(beats) + 1))
    await asyncio.sleep(0.15)
    assert len(box.writes) == len(beats)


async def test_a_refused_heartbeat_is_the_devices_fault(box: RelayBox) -> None:
    """Nobody may believe that the watchdog is served."""
    async with running(rig(box, {"coil": 1}, heartbeat={"register": 900, "every": "50ms"})) as bench:
        assert await until(lambda: "heartbeat in register 900" in bench.runner.health.why, 3)


async def test_after_the_plug_was_pulled_it_is_where_it_should_be(box: RelayBox) -> None:
    """Changes while it is away, back within 2 s, told as one down and one up."""
    async with running(rig(box, {"coil": 1}, {"coil": 2}, {"discrete_input": 5})) as bench:
        bench.runner.want("coil-1", constant(True), 0.0)
        assert await until(lambda: box.writes == [("coil", 1, 1)], 3)
        told = len(bench.healths)
        await box.stop()
        for step in range(15):
            bench.runner.want("coil-1", constant(step % 2 == 0), 0.0)
            bench.runner.want("coil-2", constant(step % 2 == 0), 0.0)
            await asyncio.sleep(0.1)
        back = time.monotonic()
        await box.start()
        await box.set(2, 5, True)
        assert await until(lambda: len(box.writes) >= 2 and bench.heard[-1] == ("discrete_input-5", True), 2)
        assert time.monotonic() - back < 2
        assert sorted(box.writes) == [("coil", 1, 1), ("coil", 2, 1)]
        assert await until(lambda: bench.runner.health.up, 2)
        assert [health.up for health in bench.healths[told:]] == [False, True]


async def test_a_device_that_stops_answering_counts_as_lost() -> None:
    """A connection that stands proves nothing; and while it stays silent, it is down once, not over and over."""
    async with BytePeer({bytes.fromhex("0100010001"): bytes.fromhex("010100")}) as peer:
        config = {"host": "127.0.0.1", "port": peer.port, "timeout": "100ms", "poll": "20ms"}
        async with running(Rig(DRIVER, config, [{"coil": 1}], [], peer)) as bench:  # type: ignore[arg-type]  # not restarted
            assert await until(lambda: bench.runner.health.up, 3)
            told = len(bench.healths)
            peer.silent = True
            await asyncio.sleep(0.8)
            assert [health.up for health in bench.healths[told:]] == [False]


async def test_an_answer_that_is_too_short_costs_the_connection() -> None:
    """Twenty coils asked, eight answered: nothing of it is believed."""
    async with BytePeer({bytes.fromhex("0100000014"): bytes.fromhex("0101FF")}) as peer:
        config = {"host": "127.0.0.1", "port": peer.port, "timeout": "100ms", "poll": "20ms"}
        points = [{"coil": 0}, {"coil": 10}, {"coil": 19}]
        async with running(Rig(DRIVER, config, points, [], peer)) as bench:  # type: ignore[arg-type]  # not restarted
            assert await until(lambda: "20 values, got 8" in bench.runner.health.why, 3)
            assert bench.heard == []


@pytest.mark.parametrize(
    "answer", ["0102CD", "01", "0103", "02010000", "81", "8102FF", "FF", "01FF" + "00" * 200, "2B0E"]
)
async def test_an_answer_that_is_none_is_a_fault_of_the_device(answer: str) -> None:
    """Whatever it says, only faults that the port allows come of it, or nothing is believed."""
    async with BytePeer({bytes.fromhex("0100000014"): bytes.fromhex(answer)}) as peer:
        config = {"host": "127.0.0.1", "port": peer.port, "timeout": "100ms"}
        _, device = made(Rig(DRIVER, config, [{"coil": 0}, {"coil": 10}, {"coil": 19}], [], peer))  # type: ignore[arg-type]  # not restarted
        heard: list[object] = []
        with contextlib.suppress(DeviceFault, WireFault):
            await device.connect(lambda point, value: heard.append((point, value)))
        await device.close()
        assert heard == []


async def test_a_response_to_another_write_confirms_nothing() -> None:
    """The address that comes back is the one that was written."""
    answers = {"0100070001": "010100", "050007FF00": "050008FF00"}
    async with BytePeer({bytes.fromhex(k): bytes.fromhex(v) for k, v in answers.items()}) as peer:
        config = {"host": "127.0.0.1", "port": peer.port, "timeout": "100ms"}
        _, device = made(Rig(DRIVER, config, [{"coil": 7}], [], peer))  # type: ignore[arg-type]  # not restarted
        await device.connect(lambda _point, _value: None)
        with pytest.raises(WireFault, match="confirms 8"):
            await device.send({"coil-7": True})
        await device.close()


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ({}, "one address"),
        ({"coil": 1, "register": 2}, "one address"),
        ({"coil": 65536}, "65535"),
        ({"coil": True}, "valid integer"),
        ({"coil": 1, "signed": True}, "on or off"),
        ({"register": 1, "step": 0}, "greater than 0"),
    ],
)
def test_a_point_is_one_address(point: dict[str, Any], says: str) -> None:
    """Anything else is refused at load."""
    with pytest.raises(ValidationError, match=says):
        DRIVER.point.model_validate(point)


@pytest.mark.parametrize("key", [{"poll": 100}, {"poll": "100"}, {"poll": "1ms"}, {"timeout": "5s"}, {"unit": 256}])
def test_times_have_units_and_bounds(key: dict[str, Any]) -> None:
    """A bare number is refused: its unit could only be guessed."""
    with pytest.raises(ValidationError):
        DRIVER.config.model_validate({"host": "127.0.0.1", **key})


def test_the_heartbeats_register_is_nobody_elses() -> None:
    """Two writers of one register would undo each other."""
    config = DRIVER.config.model_validate({"host": "127.0.0.1", "heartbeat": {"register": 40}})
    point = DRIVER.point.model_validate({"register": 40})
    with pytest.raises(ValueError, match="heartbeat"):
        DRIVER.make(config, {"register-40": point})
    assert isinstance(DRIVER.make(config, {}), ModbusDevice)
