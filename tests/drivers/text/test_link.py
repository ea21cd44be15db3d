"""What the text driver does with a real device at the other end, beside the contract."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from roomlink.drivers.port import DeviceFault, PointFault, Value
from roomlink.drivers.text import DRIVER
from roomlink.drivers.text.link import TextDevice
from tests.contracts.driver import until
from tests.drivers.text.peers import POINTS, LineDevice, SerialDevice, TcpDevice, UdpDevice

VOL, MUTE = "SET 3 VOL {value}", "SET 3 MUTE {value}"


@dataclass
class Talk:
    """A connected device with what it reported."""

    device: TextDevice
    names: list[str]
    heard: list[tuple[str, Value]] = field(default_factory=list)


def made(peer: Any, points: list[dict[str, Any]] | None = None, **keys: Any) -> Talk:
    config = DRIVER.config.model_validate({"pace": "0ms", "reply_timeout": "150ms", **peer.config, **keys})
    read = [DRIVER.point.model_validate(point) for point in (POINTS if points is None else points)]
    names = [DRIVER.point_name(config, point) for point in read]
    device = DRIVER.make(config, dict(zip(names, read, strict=True)))
    assert isinstance(device, TextDevice)
    return Talk(device, names)


@asynccontextmanager
async def talking(peer: LineDevice, points: list[dict[str, Any]] | None = None, **keys: Any) -> AsyncIterator[Talk]:
    """Connected, and served where the test does not do that itself."""
    talk = made(peer, points, **keys)
    serve: asyncio.Task[None] | None = None
    try:
        await talk.device.connect(lambda point, value: talk.heard.append((point, value)))
        serve = asyncio.create_task(talk.device.serve())
        yield talk
    finally:
        if serve is not None:
            serve.cancel()
            await asyncio.gather(serve, return_exceptions=True)
        await talk.device.close()


@pytest.fixture
async def peer() -> AsyncIterator[TcpDevice]:
    peer = TcpDevice()
    await peer.start()
    yield peer
    await peer.stop()


async def test_the_expected_answer_confirms(peer: TcpDevice) -> None:
    """And the line on the wire is what the venue wrote."""
    async with talking(peer) as talk:
        assert talk.names == [VOL, MUTE]
        assert await talk.device.send({VOL: -20.04, MUTE: True}) == {VOL, MUTE}
        assert peer.lines == ["SET 3 VOL -20.0", "SET 3 MUTE ON"]


async def test_without_an_expected_answer_nothing_is_confirmed(peer: TcpDevice) -> None:
    """Fire and forget."""
    async with talking(peer, [{"send": "GO {value:integer}"}]) as talk:
        assert await talk.device.send({"GO {value}": 4}) == set()
        assert await until(lambda: peer.lines == ["GO 4"], 1)


async def test_an_answer_with_another_value_does_not_confirm(peer: TcpDevice) -> None:
    """A device may stop at its own limit, and says so."""
    point = {"send": "VOL {value:integer}", "expect": "VOL {value:integer}", "report": "VOL {value:integer}"}
    peer.replies = {"VOL 90": b"VOL 80\r\n", "VOL 70": b"VOL 70\r\n"}
    async with talking(peer, [point]) as talk:
        assert await talk.device.send({"VOL {value}": 90}) == set()
        assert await talk.device.send({"VOL {value}": 70}) == {"VOL {value}"}
        assert talk.heard == [("VOL {value}", 80), ("VOL {value}", 70)]


async def test_a_refusal_is_the_points_fault_and_shows_what_the_device_said(peer: TcpDevice) -> None:
    """The others still work."""
    peer.locked = {"VOL"}
    async with talking(peer) as talk:
        with pytest.raises(PointFault, match="ERR locked") as caught:
            await talk.device.send({VOL: -3.0})
        assert caught.value.point == VOL
        assert await talk.device.send({MUTE: False}) == {MUTE}


async def test_the_device_may_have_one_refusal_for_all_commands(peer: TcpDevice) -> None:
    """``refused`` of the device counts where a point has none of its own."""
    peer.locked = {"MUTE"}
    async with talking(peer, refused="ERR {reason:text}") as talk:
        with pytest.raises(PointFault, match="ERR locked"):
            await talk.device.send({MUTE: True})


@pytest.mark.parametrize("value", ["loud", None, float("nan"), 1e300])
async def test_a_value_that_the_line_cannot_hold_is_the_points_fault(peer: TcpDevice, value: Value) -> None:
    """Nothing goes out."""
    async with talking(peer) as talk:
        with pytest.raises(PointFault):
            await talk.device.send({VOL: value})
        assert peer.lines == []


async def test_a_lost_answer_is_asked_for_once_more(peer: TcpDevice) -> None:
    """One silence is forgiven."""
    async with talking(peer) as talk:
        peer.mute = 1
        assert await talk.device.send({VOL: -3.0}) == {VOL}
        assert peer.lines == ["SET 3 VOL -3.0"] * 2


async def test_a_device_that_does_not_answer_twice_is_gone(peer: TcpDevice) -> None:
    """The fault names the line."""
    async with talking(peer) as talk:
        peer.mute = 9
        with pytest.raises(DeviceFault, match=r"does not answer 'SET 3 VOL -3\.0'"):
            await talk.device.send({VOL: -3.0})
        assert len(peer.lines) == 2


async def test_a_connection_that_ends_while_waiting_is_noticed_at_once(peer: TcpDevice) -> None:
    """Long before the answer is overdue."""
    async with talking(peer, reply_timeout="30s") as talk:
        peer.mute = 9
        sending = asyncio.create_task(talk.device.send({VOL: -3.0}))
        assert await until(lambda: bool(peer.lines), 1)
        peer.hang_up()
        with pytest.raises(DeviceFault, match="lost"):
            await asyncio.wait_for(sending, 1)


async def test_serve_ends_with_the_connection(peer: TcpDevice) -> None:
    """So that the runner connects again."""
    async with talking(peer) as talk:
        serve = asyncio.create_task(talk.device.serve())
        await until(lambda: bool(peer._writers), 1)
        peer.hang_up()
        with pytest.raises(DeviceFault, match="ended the connection"):
            await asyncio.wait_for(serve, 1)


async def test_lines_that_the_device_sends_by_itself_are_reports(peer: TcpDevice) -> None:
    """Whether whole, in pieces or several at once; one line may report several points; the rest is counted."""
    points = [
        {"report": "STATE {value:word} {mute:word}"},
        {"report": "STATE {level:word} {value:on-off MUTED OPEN}"},
    ]
    async with talking(peer, points) as talk:
        await until(lambda: bool(peer._writers), 1)
        for piece in (b"STA", b"TE 7 MUTED\r", b"\nWHAT?\r\nSTATE 8 OPEN\r\n"):
            peer.put(piece)
            await asyncio.sleep(0.02)
        one, two = talk.names
        assert await until(lambda: len(talk.heard) == 4, 1)
        assert talk.heard == [(one, "7"), (two, True), (one, "8"), (two, False)]
        assert talk.device.junk == 1
        with pytest.raises(PointFault, match="only reports"):
            await talk.device.send({one: "9"})


async def test_a_report_of_what_the_line_could_carry_is_what_was_wanted(peer: TcpDevice) -> None:
    """Rounding to the line's decimals is not somebody turning a knob."""
    async with talking(peer) as talk:
        await talk.device.send({VOL: -20.04})
        peer.say("VOL 3 -20")
        peer.say("VOL 3 -20.1")
        peer.say("VOL 4 -99")
        assert await until(lambda: talk.device.junk == 1, 1)
        assert talk.heard == [(VOL, -20.04), (VOL, -20.1)]


async def test_polls_are_sent_at_once_and_again(peer: TcpDevice) -> None:
    """What they bring are reports."""
    peer.replies = {"GET": b"VOL 3 -7.5\r\n"}
    async with talking(peer, polls=[{"send": "GET", "every": "50ms"}]) as talk:
        assert await until(lambda: peer.lines.count("GET") >= 3, 1)
        assert set(talk.heard) == {(VOL, -7.5)}


async def test_a_poll_without_its_answer_ends_the_connection(peer: TcpDevice) -> None:
    """This is how a device over UDP or a cable is found to be gone; a refusal shows that it is there."""
    peer.replies = {"PING": b"PONG\r\n", "ECHO": b"ERR what\r\n"}
    polls = [{"send": line, "every": "30ms", "expect": "PONG"} for line in ("PING", "ECHO")]
    async with talking(peer, polls=polls, refused="ERR {reason:text}") as talk:
        serve = asyncio.create_task(talk.device.serve())
        assert await until(lambda: min(peer.lines.count("PING"), peer.lines.count("ECHO")) >= 2, 1)
        peer.replies = {}
        with pytest.raises(DeviceFault, match="does not answer"):
            await asyncio.wait_for(serve, 2)


async def test_lines_keep_their_distance(peer: TcpDevice) -> None:
    """``pace`` is the least time between two lines, whoever sends them."""
    async with talking(peer, pace="40ms") as talk:
        began = asyncio.get_running_loop().time()
        await asyncio.gather(*(talk.device.send({VOL: float(-n)}) for n in range(4)))
        assert asyncio.get_running_loop().time() - began >= 0.12


async def test_one_command_waits_for_the_answer_to_another(peer: TcpDevice) -> None:
    """Answers say nothing of what they answer, so there is one question at a time."""
    async with talking(peer, reply_timeout="1s") as talk:
        peer.mute = 1
        both = asyncio.gather(talk.device.send({VOL: -1.0}), talk.device.send({MUTE: True}))
        await asyncio.sleep(0.1)
        assert peer.lines == ["SET 3 VOL -1.0"]
        peer.say("OK")
        assert await both == [{VOL}, {MUTE}]
        assert peer.lines == ["SET 3 VOL -1.0", "SET 3 MUTE ON"]


async def test_it_logs_in_at_prompts_that_end_no_line(peer: TcpDevice, tmp_path: Path) -> None:
    """Banner, greeting, user, password from a file: then it is connected. Reports behind the login are not lost."""
    secret = tmp_path / "secret"
    secret.write_text("{hush}\n")
    peer.greeting = b"Welcome\r\nlogin: "
    peer.replies = {"booth": b"Password: ", "{hush}": b"READY 4\r\nVOL 3 -9\r\n"}
    steps = [{"expect": "login:", "send": "{user}"}, {"expect": "Password:", "send": "{password}"}]
    keys = {"user": "booth", "password_file": str(secret), "greeting": "Welcome"}
    async with talking(peer, login=[*steps, {"expect": "READY {version:integer}"}], **keys) as talk:
        assert peer.lines == ["booth", "{hush}"]
        assert await until(lambda: talk.heard == [(VOL, -9.0)], 1)


async def test_a_greeting_that_does_not_come_is_a_clear_fault(peer: TcpDevice, monkeypatch: pytest.MonkeyPatch) -> None:
    """It names what was waited for."""
    monkeypatch.setattr("roomlink.drivers.text.link.LOGIN_S_MAX", 0.1)
    with pytest.raises(DeviceFault, match="does not send 'READY'"):
        async with talking(peer, greeting="READY"):
            pass


async def test_a_password_is_never_shown(peer: TcpDevice, tmp_path: Path) -> None:
    """Not even one that cannot be sent; and a file that is missing is named."""
    file = tmp_path / "secret"
    file.write_text("höhere")
    with pytest.raises(DeviceFault, match="ascii") as caught:
        async with talking(peer, password_file=str(file), login=[{"send": "PASS {password}"}]):
            pass
    assert "höhere" not in str(caught.value)
    assert caught.value.__suppress_context__
    with pytest.raises(DeviceFault, match="no password file"):
        async with talking(peer, password_file=str(tmp_path / "none"), login=[{"send": "PASS {password}"}]):
            pass


async def test_where_nothing_tells_of_an_outage_all_is_sent_again() -> None:
    """Over UDP; but what somebody turned at the device is not turned back, and what it refused is left."""
    peer = UdpDevice()
    await peer.start()
    points = [{key: point[key] for key in point if key != "expect"} for point in POINTS]
    async with talking(peer, points, refresh="50ms") as talk:
        assert not talk.device.detects_loss
        await talk.device.send({VOL: -3.0, MUTE: True})
        assert await until(lambda: peer.lines.count("SET 3 VOL -3.0") >= 3, 1)
        peer.say("VOL 3 -30")
        assert await until(lambda: (VOL, -30.0) in talk.heard, 1)
        peer.lines.clear()
        assert await until(lambda: len(peer.lines) >= 3, 1)
        assert set(peer.lines) == {"SET 3 MUTE ON"}
    await peer.stop()


async def test_over_udp_an_answer_confirms_and_a_lost_one_is_asked_for_again() -> None:
    """Datagrams get lost."""
    peer = UdpDevice()
    await peer.start()
    async with talking(peer) as talk:
        peer.mute = 1
        assert await talk.device.send({VOL: -3.0, MUTE: True}) == {VOL, MUTE}
        assert peer.lines == ["SET 3 VOL -3.0", "SET 3 VOL -3.0", "SET 3 MUTE ON"]
    await peer.stop()


async def test_udp_needs_no_ending() -> None:
    """A datagram is a line, with an ending or without."""
    peer = UdpDevice()
    await peer.start()
    async with talking(peer, [{"send": "A {value:integer}", "report": "B {value:integer}"}], ending="") as talk:
        await talk.device.send({"A {value}": 1})
        assert await until(lambda: peer._rest == b"A 1", 1)
        for data in (b"B 1", b"B 2\r\nB 3", b"B 4\n"):
            peer.put(data)
        assert await until(lambda: len(talk.heard) == 4, 1)
        assert [value for _, value in talk.heard] == [1, 2, 3, 4]
    await peer.stop()


async def test_a_port_where_nobody_listens_is_a_fault() -> None:
    """Over TCP at connecting, over UDP at the first line."""
    tcp, udp = TcpDevice(), UdpDevice()
    with pytest.raises(OSError, match=r"refused|Connect"):
        await made(tcp).device.connect(lambda _p, _v: None)
    with pytest.raises(DeviceFault, match=r"lost|does not listen"):
        async with talking(udp) as talk:
            await talk.device.send({VOL: -1.0})


async def test_a_serial_port_that_is_not_there_or_goes_is_a_fault(tmp_path: Path) -> None:
    """The first names the path; pulling the adapter out ends ``serve``."""
    peer = SerialDevice(tmp_path / "port")
    with pytest.raises((DeviceFault, OSError), match="port"):
        await made(peer).device.connect(lambda _p, _v: None)
    await peer.start()
    async with talking(peer, polls=[]) as talk:
        assert not talk.device.detects_loss
        assert await talk.device.send({VOL: -20.5}) == {VOL}
        serve = asyncio.create_task(talk.device.serve())
        await asyncio.sleep(0)
        await peer.stop()
        with pytest.raises((DeviceFault, OSError)):
            await asyncio.wait_for(serve, 2)


async def test_before_it_is_connected_it_says_so() -> None:
    """And not by some other exception."""
    device = made(TcpDevice()).device
    with pytest.raises(DeviceFault, match="not connected"):
        await device.send({VOL: 1.0})
    with pytest.raises(DeviceFault, match="not connected"):
        await device.serve()
