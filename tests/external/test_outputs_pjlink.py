"""PJLink class 1, a specification published by JBMIA: its example digest and lines, against a peer of bytes.

The digest is the specification's own example, and what the reference library aiopjlink computes. The TCP port,
4352, was seen in a secondary copy; the answer to ``POWR`` is from memory, and aiopjlink takes it too.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.drivers.pjlink import DRIVER
from roomlink.drivers.pjlink.wire import digest
from roomlink.drivers.port import Device, DeviceFault, PointFault, Value
from tests.drivers.pjlink.peer import ByteDisplay

DIGEST = "5d8409bc1c3fa39749434aa3a5c38682"


def made(display: ByteDisplay, **config: object) -> Device:
    model = DRIVER.config.model_validate({"host": "127.0.0.1", "port": display.port, **config})
    points = [DRIVER.point.model_validate({"item": item}) for item in ("power", "input", "mute")]
    return DRIVER.make(model, {DRIVER.point_name(model, point): point for point in points})


def test_the_port_is_the_specified_one() -> None:
    """TCP 4352."""
    assert DRIVER.config.model_validate({"host": "display"}).model_dump()["port"] == 4352


def test_the_digest_is_the_specified_one() -> None:
    """MD5 of the random number and the password: weak, and prescribed."""
    assert digest("498e4a67", "JBMIAProjectorLink") == DIGEST


async def test_the_password_goes_before_the_first_command_and_only_there(tmp_path: Path) -> None:
    """The digest of the specification's example, then commands as without a password."""
    secret = tmp_path / "secret"
    secret.write_text("JBMIAProjectorLink\n")
    async with ByteDisplay() as display:
        display.greeting = b"PJLINK 1 498e4a67\r"
        device = made(display, password_file=str(secret))
        await device.connect(lambda _point, _value: None)
        await device.send({"power": True})
        await device.close()
        assert display.lines == [DIGEST.encode() + b"%1POWR ?\r", b"%1POWR 1\r"]


async def test_a_refused_password_is_told_as_such(tmp_path: Path) -> None:
    """PJLINK ERRA in place of the first answer."""
    secret = tmp_path / "secret"
    secret.write_text("JBMIAProjectorLink\n")
    async with ByteDisplay() as display:
        display.greeting = b"PJLINK 1 498e4a67\r"
        display.script[DIGEST.encode() + b"%1POWR ?\r"] = b"PJLINK ERRA\r"
        device = made(display, password_file=str(secret))
        with pytest.raises(DeviceFault, match="does not take the password"):
            await device.connect(lambda _point, _value: None)
        await device.close()


async def test_orders_are_the_specified_lines() -> None:
    """Power, input and mute; power first, since a display that is off takes nothing else."""
    async with ByteDisplay() as display:
        device = made(display)
        heard: dict[str, Value] = {}
        await device.connect(heard.__setitem__)
        await device.send({"mute-both": True, "input": "digital-1", "power": True})
        await device.close()
        assert heard == {"power": False}
        assert display.lines == [b"%1POWR ?\r", b"%1POWR 1\r", b"%1INPT 31\r", b"%1AVMT 31\r"]


@pytest.mark.parametrize(
    ("answer", "says"),
    [(b"ERR1", "does not know this command"), (b"ERR2", "no such setting"), (b"ERR4", "reports a failure")],
)
async def test_errors_are_the_points_fault(answer: bytes, says: str) -> None:
    """ERR1 undefined command, ERR2 out of parameter, ERR4 failure: trying again is useless."""
    async with ByteDisplay() as display:
        display.script[b"%1INPT 31\r"] = b"%1INPT=" + answer + b"\r"
        device = made(display)
        await device.connect(lambda _point, _value: None)
        with pytest.raises(PointFault, match=says):
            await device.send({"input": "digital-1"})
        await device.close()


async def test_not_now_is_no_fault() -> None:
    """ERR3, unavailable at this time: neither refused nor confirmed."""
    async with ByteDisplay() as display:
        display.script[b"%1INPT 31\r"] = b"%1INPT=ERR3\r"
        device = made(display)
        await device.connect(lambda _point, _value: None)
        assert await device.send({"input": "digital-1"}) == set()
        await device.close()
