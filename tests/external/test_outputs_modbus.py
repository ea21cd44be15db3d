"""PDUs of the Modbus Application Protocol V1.1b3, byte by byte, against a peer that only knows bytes.

The examples are those of the specification's clauses 6.1, 6.2, 6.5 and 6.11, as reproduced with pymodbus.
"""

from __future__ import annotations

import pytest

from roomlink.drivers.modbus import DRIVER
from roomlink.drivers.port import PointFault, Value
from tests.drivers.modbus.peer import BytePeer

SPECIFIED = {
    bytes.fromhex(request): bytes.fromhex(response)
    for request, response in {
        "01 00 13 00 13": "01 03 CD 6B 05",
        "02 00 C4 00 16": "02 03 AC DB 35",
        "05 00 AC FF 00": "05 00 AC FF 00",
        "0F 00 13 00 0A 02 CD 01": "0F 00 13 00 0A",
    }.items()
}


def made(peer: BytePeer, points: list[dict[str, int]]) -> tuple[object, dict[str, object]]:
    config = DRIVER.config.model_validate({"host": "127.0.0.1", "port": peer.port, "timeout": "500ms"})
    models = [DRIVER.point.model_validate(point) for point in points]
    return config, {DRIVER.point_name(config, model): model for model in models}


async def test_reading_coils_20_to_38_is_the_specified_exchange() -> None:
    """Function 01: coil 20 is address 0x0013; CD 6B 05 are the states, lowest bit first."""
    async with BytePeer(SPECIFIED) as peer:
        config, points = made(peer, [{"coil": 0x13}, {"coil": 0x1C}, {"coil": 0x25}])
        device = DRIVER.make(config, points)
        heard: dict[str, Value] = {}
        await device.connect(heard.__setitem__)
        await device.close()
    assert peer.asked == [bytes.fromhex("0100130013")]
    # CD is 11001101: coil 20 on; 6B is 01101011: coil 29 (its second bit) on; 05 is 101: coil 38 (its third) on.
    assert heard == {"coil-19": True, "coil-28": True, "coil-37": True}


async def test_reading_inputs_197_to_218_is_the_specified_exchange() -> None:
    """Function 02: AC DB 35, lowest bit first."""
    async with BytePeer(SPECIFIED) as peer:
        config, points = made(peer, [{"discrete_input": n} for n in (0xC4, 0xC6, 0xD1, 0xD9)])
        device = DRIVER.make(config, points)
        heard: dict[str, Value] = {}
        await device.connect(heard.__setitem__)
        await device.close()
    assert peer.asked == [bytes.fromhex("0200C40016")]
    # AC is 10101100: input 197 off, 199 on. DB is 11011011, 35 is 00110101: input 210 (sixth bit of DB) off, 218 on.
    assert heard == {
        "discrete_input-196": False,
        "discrete_input-198": True,
        "discrete_input-209": False,
        "discrete_input-217": True,
    }


async def test_one_coil_is_written_as_specified() -> None:
    """Function 05: coil 173 on, echoed."""
    async with BytePeer({**SPECIFIED, bytes.fromhex("0100AC0001"): bytes.fromhex("010100")}) as peer:
        config, points = made(peer, [{"coil": 0xAC}])
        device = DRIVER.make(config, points)
        await device.connect(lambda _point, _value: None)
        assert await device.send({"coil-172": True}) == {"coil-172"}
        await device.close()
    assert peer.asked[-1] == bytes.fromhex("0500ACFF00")


async def test_ten_coils_are_written_as_specified() -> None:
    """Function 0F: ten coils from address 0x0013 as CD 01."""
    states = [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]
    async with BytePeer({**SPECIFIED, bytes.fromhex("010013000A"): bytes.fromhex("01020000")}) as peer:
        config, points = made(peer, [{"coil": 0x13 + n} for n in range(10)])
        device = DRIVER.make(config, points)
        await device.connect(lambda _point, _value: None)
        wanted = {f"coil-{0x13 + n}": bool(state) for n, state in enumerate(states)}
        assert await device.send(wanted) == set(wanted)
        await device.close()
    assert peer.asked[-1] == bytes.fromhex("0F0013000A02CD01")


async def test_an_exception_response_is_the_points_fault() -> None:
    """81 02 (and 85 02 for a write): the address is not one of the device's."""
    async with BytePeer({}) as peer:
        config, points = made(peer, [{"coil": 7}])
        device = DRIVER.make(config, points)
        await device.connect(lambda _point, _value: None)
        with pytest.raises(PointFault, match="coil-7: the device has no such address"):
            await device.send({"coil-7": True})
        await device.close()
    assert peer.asked == [bytes.fromhex("0100070001"), bytes.fromhex("050007FF00")]
