"""Open Sound Control 1.0: the examples of the specification's page, ``python-osc`` and the dissector of ``tshark``."""

from __future__ import annotations

import socket
import struct
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pythonosc import slip as reference_slip
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder, build_msg
from pythonosc.osc_server import BlockingOSCUDPServer
from pythonosc.osc_tcp_server import MODE_1_1, BlockingOSCTCPServer

from roomlink.drivers.osc import DRIVER
from roomlink.drivers.osc.wire import Message, Unslip, decode, encode, slip
from roomlink.drivers.port import Value
from tests.contracts.driver import until
from tests.external.dissect import dissect, needs_tshark

FOO = "2f666f6f 00000000 2c696973 66660000 000003e8 ffffffff 68656c6c 6f000000 3f9df3b6 40b5b22d"


def test_the_first_example_of_the_specification() -> None:
    """``/oscillator/4/frequency`` with the float 440.0: 32 octets, these eight last."""
    octets = encode("/oscillator/4/frequency", "f", [440.0])
    assert len(octets) == 32
    assert octets[:24] == b"/oscillator/4/frequency\0"
    assert octets[24:] == bytes.fromhex("2c 66 00 00 43 dc 00 00")
    assert decode(octets) == [Message("/oscillator/4/frequency", "f", (440.0,))]


def test_the_second_example_of_the_specification() -> None:
    """``/foo`` with 1000, -1, "hello", 1.234 and 5.678: 40 octets."""
    octets = encode("/foo", "iisff", [1000, -1, "hello", 1.234, 5.678])
    assert octets == bytes.fromhex(FOO)
    (message,) = decode(octets)
    assert message.args[:3] == (1000, -1, "hello")
    assert message.args[3:] == struct.unpack("!ff", bytes.fromhex("3f9df3b6 40b5b22d"))


TYPES = {"i": [0, -(2**31), 2**31 - 1], "f": [0.0, -60.0, 1e-20], "h": [2**62], "d": [0.1], "s": ["", "abc", "abcd"]}
CASES = [(tag, value) for tag, values in TYPES.items() for value in values] + [("b", b"1234"), ("b", b"12345")]
CASES += [("T", True), ("F", False), ("N", None)]


@pytest.mark.parametrize(("tag", "value"), CASES)
def test_every_type_is_encoded_as_by_the_library(tag: str, value: Value | bytes) -> None:
    """Octet by octet, and read back from each other."""
    builder = OscMessageBuilder("/zone/heron")
    builder.add_arg(value, tag)
    theirs = builder.build().dgram
    ours = encode("/zone/heron", tag, [value])
    assert OscMessage(ours).params == OscMessage(theirs).params
    assert ours == theirs
    assert decode(theirs) == decode(ours)


def test_bundles_of_the_library_are_read() -> None:
    """Nested ones too."""
    inner = OscBundleBuilder(IMMEDIATELY)
    inner.add_content(build_msg("/b", 2))
    outer = OscBundleBuilder(1.5)
    for content in (build_msg("/a", 1), inner.build(), build_msg("/c", "three")):
        outer.add_content(content)
    assert [(m.address, m.args) for m in decode(outer.build().dgram)] == [
        ("/a", (1,)),
        ("/b", (2,)),
        ("/c", ("three",)),
    ]


@settings(deadline=None)
@given(st.binary(min_size=1, max_size=200))
def test_frames_are_those_of_rfc_1055_with_an_end_on_both_sides(packet: bytes) -> None:
    """Octet by octet what ``python-osc`` makes of it; each reads the other's."""
    assert slip(packet) == reference_slip.encode(packet)
    assert reference_slip.is_valid(slip(packet))
    assert Unslip().feed(reference_slip.encode(packet)) == [packet]


def test_the_escapes_are_those_of_rfc_1055() -> None:
    """END 192, ESC 219, then 220 for END and 221 for ESC."""
    assert slip(bytes([192, 219, 1])) == bytes([192, 219, 220, 219, 221, 1, 192])


@needs_tshark
def test_tshark_reads_our_messages(tmp_path: Path) -> None:
    """Addresses, types and values as sent."""
    sent = [
        encode("/foo", "iisff", [1000, -1, "hello", 1.234, 5.678]),
        encode("/zone/heron/mute", "TFN", [True, False, None]),
        encode("/big", "hd", [2**40, 0.1]),
    ]
    fields = ["header.path", "header.format", "int32", "float", "string", "int64", "double"]
    names = [f"osc.message.{field}" for field in fields] + ["_ws.malformed"]
    rows = dissect(tmp_path, [(float(n), packet) for n, packet in enumerate(sent)], 9000, "osc_udp", names)
    assert [list(row.values()) for row in rows] == [
        ["/foo", ",iisff", "1000,-1", "1.234,5.678", "hello", "", "", ""],
        ["/zone/heron/mute", ",TFN", "", "", "", "", "", ""],
        ["/big", ",hd", "", "", "", str(2**40), "0.1", ""],
    ]


@pytest.mark.parametrize("transport", ["udp", "tcp"])
async def test_a_server_of_the_library_takes_what_we_send(transport: str) -> None:
    """Over UDP, and over TCP in its OSC 1.1 mode."""
    got: list[tuple[str, Value]] = []
    dispatcher = Dispatcher()
    dispatcher.set_default_handler(lambda address, *args: got.append((address, *args)))
    server: BlockingOSCUDPServer | BlockingOSCTCPServer
    if transport == "udp":
        server = BlockingOSCUDPServer(("127.0.0.1", 0), dispatcher)
    else:
        server = BlockingOSCTCPServer(("127.0.0.1", 0), dispatcher, MODE_1_1)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,))
    thread.start()
    config = DRIVER.config.model_validate(
        {"host": "127.0.0.1", "port": server.server_address[1], "transport": transport, "refresh": 0}
    )
    keys = [{"address": "/gain"}, {"address": "/input", "type": "i"}, {"address": "/mute", "type": "bool"}]
    keys += [{"address": "/source", "type": "s"}]
    points = {found.address: found for found in map(DRIVER.point.model_validate, keys)}
    device = DRIVER.make(config, points)
    await device.connect(lambda _point, _value: None)
    try:
        await device.send({"/gain": -12.5, "/input": 3, "/mute": True, "/source": "laptop"})
        assert await until(lambda: len(got) == 4, 2.0), got
        assert got == [("/gain", -12.5), ("/input", 3), ("/mute", True), ("/source", "laptop")]
    finally:
        await device.close()
        if isinstance(server, BlockingOSCTCPServer):
            server.socket.shutdown(socket.SHUT_RDWR)
        server.shutdown()
        thread.join()
        server.server_close()
