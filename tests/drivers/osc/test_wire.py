"""OSC packets and SLIP frames, to octets and back."""

from __future__ import annotations

import contextlib
import math
import struct

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from roomlink.drivers.osc import wire
from roomlink.drivers.osc.wire import Message, Unslip, decode, encode, encode_argument, slip
from roomlink.drivers.port import WireFault

texts = st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=9)
arguments = st.one_of(
    st.tuples(st.just("i"), st.integers(-(2**31), 2**31 - 1)),
    st.tuples(st.just("h"), st.integers(-(2**63), 2**63 - 1)),
    st.tuples(st.just("f"), st.floats(width=32, allow_nan=False)),
    st.tuples(st.just("d"), st.floats(allow_nan=False)),
    st.tuples(st.just("s"), texts),
    st.tuples(st.just("b"), st.binary(max_size=9)),
    st.sampled_from([("T", True), ("F", False), ("N", None)]),
)


def bundle(*elements: bytes) -> bytes:
    """A bundle of packets, to be done at once."""
    return b"#bundle\0" + struct.pack("!q", 1) + b"".join(struct.pack("!i", len(e)) + e for e in elements)


@given(texts, st.lists(arguments, max_size=5))
def test_a_message_comes_back_as_it_was(name: str, args: list[tuple[str, wire.Argument]]) -> None:
    """Every type, any number of arguments, a multiple of four octets."""
    tags = "".join(tag for tag, _ in args)
    octets = encode("/" + name, tags, [arg for _, arg in args])
    assert len(octets) % 4 == 0
    assert decode(octets) == [Message("/" + name, tags, tuple(arg for _, arg in args))]


@pytest.mark.parametrize(
    ("arg", "tag"), [(1, "i"), (1.5, "f"), ("on", "s"), (b"\1", "b"), (True, "T"), (False, "F"), (None, "N")]
)
def test_the_tag_follows_from_the_type(arg: wire.Argument, tag: str) -> None:
    """A truth value is no integer."""
    assert decode(encode_argument("/a", arg)) == [Message("/a", tag, (arg,))]


@pytest.mark.parametrize(
    ("tag", "arg"), [("i", 2**31), ("i", "1"), ("f", 1e39), ("s", 1), ("b", "x"), ("T", False), ("T", 1), ("x", 1)]
)
def test_an_argument_that_does_not_fit_its_tag_is_an_error(tag: str, arg: wire.Argument) -> None:
    """ValueError, before anything is sent."""
    with pytest.raises(ValueError, match="fit type tag"):
        encode("/a", tag, [arg])


@given(st.binary(max_size=100))
@example(b"#bundle\0" + b"\0" * 8 + b"\xff" * 4)
@example(b"/a\0\0,b\0\0\xff\xff\xff\xff")
@example(b"/a\0\0,b\0\0\x7f\xff\xff\xff")
@example(b"/a\0\0,")
def test_arbitrary_octets_raise_only_a_wire_fault(octets: bytes) -> None:
    """As they come, and dressed up as a message or a bundle."""
    padded = octets + bytes(-len(octets) % 4)
    for packet in (octets, padded, b"/a\0\0" + padded, b"/a\0\0,fsb\0\0\0\0" + padded, bundle() + padded):
        with contextlib.suppress(WireFault):
            decode(packet)


def test_bundles_give_their_messages_in_order() -> None:
    """Bundles in bundles too; an empty one gives nothing."""
    one, two, three = (encode_argument(f"/{n}", n) for n in (1, 2, 3))
    assert [m.args[0] for m in decode(bundle(one, bundle(two), bundle(), three))] == [1, 2, 3]


def test_nesting_and_number_are_bounded() -> None:
    """A packet that unfolds without end is a fault."""
    packet = encode_argument("/a", 1)
    for _ in range(wire.DEPTH_MAX):
        packet = bundle(packet)
    assert len(decode(packet)) == 1
    with pytest.raises(WireFault, match="nested too deep"):
        decode(bundle(packet))
    with pytest.raises(WireFault, match="more than 1000"):
        decode(bundle(*[encode_argument("/a", 1)] * 1001))


@pytest.mark.parametrize("octets", [b"/a\0\0,t\0\0" + bytes(8), b"/a\0\0", b"/a\0\0\0\0\0\1"])
def test_a_message_with_unknown_or_without_type_tags_is_left_out(octets: bytes) -> None:
    """The standard asks to discard it; the others of the bundle count."""
    assert decode(octets) == []
    assert len(decode(bundle(octets, encode_argument("/a", 1)))) == 1


@pytest.mark.parametrize(
    "octets",
    [
        b"",
        b"/a\0",
        b"abc\0,i\0\0\0\0\0\1",
        b"/abc",
        b"/a\0x,i\0\0\0\0\0\1",
        b"/\xff\0\0,i\0\0\0\0\0\1",
        b"/a\0\0,i\0\0",
        b"/a\0\0,i\0\0\0\0\0\1\0\0\0\2",
        b"/a\0\0,b\0\0\xff\xff\xff\xff",
        b"/a\0\0,b\0\0\0\0\0\5abcd",
        b"#bundle\0\0\0\0\0",
        bundle() + b"\0\0\0\0",
        bundle() + b"\0\0\0\x10/a\0\0",
    ],
)
def test_a_broken_packet_is_a_fault(octets: bytes) -> None:
    """Length, padding, text, missing or surplus arguments, sizes."""
    with pytest.raises(WireFault):
        decode(octets)


@given(st.lists(st.binary(min_size=1, max_size=30)), st.integers(1, 7))
@example([b"\xc0\xdb\xdc\xdd"], 1)
def test_slip_frames_come_back_in_whatever_pieces(packets: list[bytes], size: int) -> None:
    """The octets that frame and escape may be data too."""
    stream = b"".join(map(slip, packets))
    unslip = Unslip()
    pieces = [stream[at : at + size] for at in range(0, len(stream), size)]
    assert [packet for piece in pieces for packet in unslip.feed(piece)] == packets


@given(st.lists(st.one_of(st.binary(max_size=20), st.sampled_from([b"\xc0", b"\xdb", b"\xdc"]))))
def test_an_arbitrary_stream_raises_only_a_wire_fault(pieces: list[bytes]) -> None:
    """Piece by piece."""
    unslip = Unslip()
    with contextlib.suppress(WireFault):
        for piece in pieces:
            unslip.feed(piece)


def test_a_frame_is_bounded_and_its_escapes_must_mean_something() -> None:
    """A peer that never ends a frame does not fill the memory."""
    unslip = Unslip()
    for _ in range(131):
        unslip.feed(b"x" * 1000)
    with pytest.raises(WireFault, match="without an end"):
        unslip.feed(b"x" * 1000)
    for frame in (b"\xc0\xdbx\xc0", b"\xc0\xdb\xc0"):
        with pytest.raises(WireFault, match="escapes nothing"):
            Unslip().feed(frame)


def test_not_a_number_is_read_as_such() -> None:
    """The wire takes it; what it means is another's question."""
    (message,) = decode(b"/a\0\0,f\0\0\x7f\xc0\0\0")
    assert isinstance(message.args[0], float)
    assert math.isnan(message.args[0])
