"""The MQTT driver at a real Mosquitto: reports, availability, secrets, encryption, the pulled plug."""

from __future__ import annotations

import asyncio
import gc
import subprocess
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from roomlink.drivers.mqtt import DRIVER
from roomlink.drivers.port import DeviceFault
from tests.contracts.driver import Rig, constant, made, running, until
from tests.drivers.mqtt.broker import Broker, Building, Listener
from tests.drivers.ports import free_tcp


@pytest.fixture
async def building(tmp_path: Path) -> AsyncIterator[Building]:
    peer = Building(Broker(tmp_path, free_tcp()), [])
    await peer.start()
    yield peer
    await peer.stop()


def rig(building: Building, *points: dict[str, Any], **config: Any) -> Rig:
    return Rig(DRIVER, {"host": "127.0.0.1", "port": building.broker.port, **config}, list(points), [], building)


async def test_reports_arrive_retained_ones_first(building: Building) -> None:
    """What the wall said before we came, and what it says now; a filter may stand for several topics."""
    assert building.listener
    building.listener.publish("hall/walls/east", "closed", retain=True)
    points = [{"report": "hall/walls/east"}, {"report": "hall/+/level", "format": "json", "member": "db"}]
    async with running(rig(building, *points)) as bench:
        assert await until(lambda: bench.heard == [("hall/walls/east", "closed")], 2)
        building.listener.publish("hall/heron/level", '{"db": -12.5, "by": "hand"}')
        building.listener.publish("hall/walls/east", "open", retain=True)
        building.listener.publish("hall/walls/east", "", retain=True)
        assert await until(lambda: len(bench.heard) == 3, 2)
        assert bench.heard[1:] == [("hall/+/level db", -12.5), ("hall/walls/east", "open")]


async def test_only_the_device_confirms_what_the_device_reports(building: Building) -> None:
    """The broker's acknowledgement says nothing about a device that has a report."""
    assert building.listener
    point = {"topic": "hall/house/set", "report": "hall/house"}
    async with running(rig(building, point, {"topic": "hall/plain"})) as bench:
        for name in bench.names:
            bench.runner.want(name, constant(35), 0.0)
        assert await until(lambda: bool(bench.runner.snapshot()["hall/plain"]["confirmed"]), 2)
        assert not bench.runner.snapshot()["hall/house/set"]["confirmed"]
        building.listener.publish("hall/house", "35")
        assert await until(lambda: bool(bench.runner.snapshot()["hall/house/set"]["confirmed"]), 2)


async def test_a_payload_that_means_nothing_is_left_out(building: Building) -> None:
    """The connection stays, and so does what was known."""
    assert building.listener
    async with running(rig(building, {"report": "hall/level", "format": "json"})) as bench:
        assert await until(lambda: bench.runner.health.up, 2)
        for payload in (b"5", b"{", b"\xff", b"6"):
            building.listener.publish("hall/level", payload)
        assert await until(lambda: bench.heard == [("hall/level", 5), ("hall/level", 6)], 2)
        assert len(bench.healths) == 1


async def test_availability_says_online_and_at_the_end_offline(building: Building) -> None:
    """A clean end publishes it; nobody waits for a last will."""
    assert building.listener
    async with running(rig(building, {"topic": "hall/x"}, availability="hall/roomlink")) as bench:
        assert await until(lambda: bench.runner.health.up, 2)
    listener = building.listener
    assert await until(lambda: listener.of("hall/roomlink") == [b"online", b"offline"], 2)


async def test_a_password_is_read_from_its_file_and_a_wrong_one_is_told(tmp_path: Path) -> None:
    """Neither right nor wrong password ever stands in a message."""
    passwords, ours = tmp_path / "passwd", tmp_path / "secret"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(passwords), "hall", "plover-3"], check=True)  # noqa: ASYNC221  # short
    broker = Broker(tmp_path, free_tcp(), f"allow_anonymous false\npassword_file {passwords}")
    await broker.start()
    config = {"host": "127.0.0.1", "port": broker.port, "username": "hall", "password_file": str(ours)}
    peer = Building(broker, [])
    ours.write_text("heron-9\n")
    async with running(Rig(DRIVER, config, [{"topic": "hall/x"}], [], peer)) as bench:
        assert await until(lambda: "not authori" in bench.runner.health.why.lower(), 2)
        assert "heron-9" not in bench.runner.health.why
        ours.write_text("plover-3\n")
        assert await until(lambda: bench.runner.health.up, 4)
    ours.unlink()
    _, device = made(Rig(DRIVER, config, [{"topic": "hall/x"}], [], peer))
    with pytest.raises(DeviceFault, match="no password file"):
        await device.connect(lambda _point, _value: None)
    await device.close()
    await broker.stop()


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning")
async def test_an_encrypted_broker_must_show_a_certificate_that_we_trust(tmp_path: Path) -> None:
    """With the authority's certificate it is up; without, it is not."""
    certificate, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    command += ["-keyout", str(key), "-out", str(certificate), "-days", "2", "-subj", "/CN=localhost"]
    command += ["-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run(command, check=True, capture_output=True)  # noqa: ASYNC221  # short
    extra = f"allow_anonymous true\ncertfile {certificate}\nkeyfile {key}"
    broker = Broker(tmp_path, free_tcp(), extra)
    await broker.start()
    config = {"host": "127.0.0.1", "port": broker.port, "tls": True}
    peer = Building(broker, [])
    async with running(Rig(DRIVER, config, [{"topic": "hall/x"}], [], peer)) as bench:
        assert await until(lambda: "certificate verify failed" in bench.runner.health.why, 2)
    gc.collect()
    async with running(Rig(DRIVER, {**config, "ca_file": str(certificate)}, [{"topic": "hall/x"}], [], peer)) as bench:
        assert await until(lambda: bench.runner.health.up, 2)
    await broker.stop()


async def test_after_the_broker_came_back_everything_is_as_it_should_be(building: Building) -> None:
    """Killed under changes: subscribed again, driven again, within 2 s, told as one down and one up."""
    points = [{"topic": "hall/house/set", "report": "hall/house"}, {"topic": "hall/mute"}]
    async with running(rig(building, *points, availability="hall/roomlink", version="5")) as bench:
        bench.runner.want("hall/mute", constant(True), 0.0)
        assert await until(lambda: bench.runner.outbox.idle and bench.runner.health.up, 2)
        told = len(bench.healths)
        assert building.listener
        building.listener.stop()
        building.listener = None
        await building.broker.stop(kill=True)
        for step in range(10):
            bench.runner.want("hall/house/set", constant(step), 0.0)
            bench.runner.want("hall/mute", constant(step % 2 == 0), 0.0)
            await asyncio.sleep(0.1)
        back = time.monotonic()
        await building.start()
        assert building.listener
        listener: Listener = building.listener
        assert await until(lambda: listener.of("hall/house/set")[-1:] == [b"9"], 2)
        assert time.monotonic() - back < 2
        assert await until(lambda: listener.of("hall/mute")[-1:] == [b"off"], 1)
        assert set(listener.of("hall/house/set")) == {b"9"}
        assert b"online" in listener.of("hall/roomlink")
        listener.publish("hall/house", "9")
        assert await until(lambda: ("hall/house/set", 9.0) in bench.heard, 1)
        assert await until(lambda: bench.runner.health.up, 2)
        assert [health.up for health in bench.healths[told:]] == [False, True]


async def test_a_broker_that_says_nothing_is_given_up_in_time() -> None:
    """It takes the connection and never greets: an error within the timeout, no socket left behind."""
    silent: list[asyncio.StreamWriter] = []
    server = await asyncio.start_server(lambda _reader, writer: silent.append(writer), "127.0.0.1", 0)
    config = {"host": "127.0.0.1", "port": server.sockets[0].getsockname()[1], "timeout": "200ms"}
    _, device = made(Rig(DRIVER, config, [{"topic": "hall/x"}], [], None))  # type: ignore[arg-type]  # no peer
    began = time.monotonic()
    with pytest.raises(DeviceFault, match="timed out"):
        await device.connect(lambda _point, _value: None)
    assert time.monotonic() - began < 1
    await device.close()
    server.close()
    for writer in silent:
        writer.close()


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ({}, "goes nowhere"),
        ({"topic": "hall/+"}, "wildcard"),
        ({"report": "hall/#/x"}, "alone"),
        ({"topic": "hall/a", "qos": 3}, "0, 1 or 2"),
        ({"topic": "hall/a", "qos": True}, "is a number"),
        ({"topic": "hall/a", "member": "x"}, "without format: json"),
        ({"topic": "hall/a", "report": "hall/#"}, "our own wish"),
    ],
)
def test_a_point_that_cannot_work_is_refused_at_load(point: dict[str, Any], says: str) -> None:
    """With what is wrong."""
    with pytest.raises(ValidationError, match=says):
        DRIVER.point.model_validate(point)


@pytest.mark.parametrize(
    ("config", "says"),
    [
        ({"password": "x"}, "Extra inputs"),
        ({"password_file": "x"}, "without a username"),
        ({"ca_file": "x"}, "without tls"),
        ({"version": "3.1"}, "'3.1.1' or '5'"),
        ({"availability": "hall/#"}, "wildcard"),
    ],
)
def test_a_broker_that_cannot_work_is_refused_at_load(config: dict[str, Any], says: str) -> None:
    """Above all a password in the venue's file."""
    with pytest.raises(ValidationError, match=says):
        DRIVER.config.model_validate({"host": "127.0.0.1", **config})


def test_two_points_never_publish_to_one_topic() -> None:
    """Each would erase what the other retained."""
    config = DRIVER.config.model_validate({"host": "127.0.0.1", "version": 5})
    one, two = (
        DRIVER.point.model_validate({"topic": "hall/a", "format": "json", "member": member}) for member in ("x", "y")
    )
    assert DRIVER.overlaps
    assert DRIVER.overlaps(one, two)
    with pytest.raises(ValueError, match="erase"):
        DRIVER.make(config, {"hall/a x": one, "hall/a y": two})
