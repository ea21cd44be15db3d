"""OSC 1.0 packets and SLIP frames, to octets and back. Pure.

A packet is a message, or a bundle of packets. Everything in it is big-endian and padded to four octets.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from roomlink.drivers.port import WireFault

PACKET_OCTETS_MAX = 65_507
"""What a UDP datagram carries."""
DEPTH_MAX = 8
MESSAGES_MAX = 1000

Argument = float | int | bool | str | bytes | None

_BUNDLE = b"#bundle\0"
_NUMBERS = {"i": struct.Struct("!i"), "f": struct.Struct("!f"), "h": struct.Struct("!q"), "d": struct.Struct("!d")}
_CONSTANTS: dict[str, Argument] = {"T": True, "F": False, "N": None}


@dataclass(frozen=True, slots=True)
class Message:
    """One message. ``tags`` has a type tag for each of ``args``, without the comma."""

    address: str
    tags: str
    args: tuple[Argument, ...]


def _padded(octets: bytes) -> bytes:
    return octets + bytes(-len(octets) % 4)


def _string(text: str) -> bytes:
    return _padded(text.encode() + b"\0")


def encode(address: str, tags: str, args: Sequence[Argument]) -> bytes:
    """A message; ``tags`` of i f h d s b T F N, one for each argument. Raises ValueError where they do not fit."""
    parts = [_string(address), _string("," + tags)]
    for tag, arg in zip(tags, args, strict=True):
        if tag in _NUMBERS and isinstance(arg, int | float):
            try:
                parts.append(_NUMBERS[tag].pack(arg))
            except (struct.error, OverflowError) as error:
                raise ValueError(f"{arg!r} does not fit type tag {tag}") from error
        elif tag == "s" and isinstance(arg, str):
            parts.append(_string(arg))
        elif tag == "b" and isinstance(arg, bytes):
            parts.append(_padded(_NUMBERS["i"].pack(len(arg)) + arg))
        elif tag not in _CONSTANTS or arg is not _CONSTANTS[tag]:
            raise ValueError(f"{arg!r} does not fit type tag {tag}")
    return b"".join(parts)


def encode_argument(address: str, arg: Argument) -> bytes:
    """A message with one argument, whose tag follows from the argument's Python type; an int is 32 bits."""
    if isinstance(arg, bool) or arg is None:
        return encode(address, {True: "T", False: "F", None: "N"}[arg], (arg,))
    return encode(address, {int: "i", float: "f", str: "s", bytes: "b"}[type(arg)], (arg,))


def decode(octets: bytes) -> list[Message]:
    """All messages of a packet, in order; those with type tags unknown here are left out, as the standard asks.

    Raises WireFault for what is no packet. Time tags are read over: what is reported is true when it arrives.
    """
    messages: list[Message] = []
    for element in _elements(octets, DEPTH_MAX):
        message = _message(element)
        if message is not None:
            messages.append(message)
        if len(messages) > MESSAGES_MAX:
            raise WireFault(f"more than {MESSAGES_MAX} messages in one packet")
    return messages


def _elements(octets: bytes, depth: int) -> Iterator[bytes]:
    if not octets or len(octets) % 4 or len(octets) > PACKET_OCTETS_MAX:
        raise WireFault(f"a packet has a multiple of 4 octets, {PACKET_OCTETS_MAX} at most, not {len(octets)}")
    if not octets.startswith(_BUNDLE):
        yield octets
        return
    if depth == 0 or len(octets) < 16:
        raise WireFault("a bundle without a time tag, or one nested too deep")
    at = 16
    while at < len(octets):
        (size,) = _NUMBERS["i"].unpack_from(octets, at)
        at += 4
        if not 0 < size <= len(octets) - at:
            raise WireFault(f"an element of {size} octets in a bundle that has {len(octets) - at} left")
        yield from _elements(octets[at : at + size], depth - 1)
        at += size


def _message(octets: bytes) -> Message | None:
    address, at = _read_string(octets, 0)
    if not address.startswith("/"):
        raise WireFault("an address begins with a slash")
    if octets[at : at + 1] != b",":
        return None  # very old senders leave the tags out; then nobody knows what follows
    tags, at = _read_string(octets, at)
    args: list[Argument] = []
    for tag in tags[1:]:
        if tag in _CONSTANTS:
            args.append(_CONSTANTS[tag])
        elif tag in _NUMBERS:
            args.append(_NUMBERS[tag].unpack(_span(octets, at, _NUMBERS[tag].size))[0])
            at += _NUMBERS[tag].size
        elif tag == "s":
            text, at = _read_string(octets, at)
            args.append(text)
        elif tag == "b":
            (size,) = _NUMBERS["i"].unpack(_span(octets, at, 4))
            if size < 0:
                raise WireFault(f"a blob of {size} octets")
            args.append(_span(octets, at + 4, size))
            at += 4 + size + -size % 4
        else:
            return None
    if at != len(octets):
        raise WireFault(f"the arguments end at octet {at}, the message at {len(octets)}")
    return Message(address, tags[1:], tuple(args))


def _span(octets: bytes, at: int, size: int) -> bytes:
    span = octets[at : at + size]
    if len(span) < size:
        raise WireFault(f"{size} octets wanted at {at}, the message has {len(octets)}")
    return span


def _read_string(octets: bytes, at: int) -> tuple[str, int]:
    end = octets.find(0, at)
    if end < 0:
        raise WireFault("a string without an end")
    after = end + 4 - (end - at) % 4
    if any(_span(octets, end, after - end)):
        raise WireFault("a string is not padded with zeros")
    try:
        return octets[at:end].decode(), after
    except UnicodeDecodeError as error:
        raise WireFault("a string is not UTF-8") from error


END, ESC, ESC_END, ESC_ESC = b"\xc0", b"\xdb", b"\xdb\xdc", b"\xdb\xdd"


def slip(packet: bytes) -> bytes:
    """A frame with an END on both sides, as OSC 1.1 asks: line noise before it cannot spoil it."""
    return END + packet.replace(ESC, ESC_ESC).replace(END, ESC_END) + END


class Unslip:
    """Takes a stream apart into packets, whatever pieces it comes in."""

    def __init__(self) -> None:
        self._rest = bytearray()

    def feed(self, octets: bytes) -> list[bytes]:
        """The packets that are complete now. After a WireFault the stream is of no more use."""
        *ended, rest = octets.split(END)
        packets = []
        for piece in ended:
            self._rest += piece
            if self._rest:  # two ENDs in a row enclose nothing
                packets.append(_unescaped(bytes(self._rest)))
                self._rest.clear()
        self._rest += rest
        if len(self._rest) > 2 * PACKET_OCTETS_MAX:
            raise WireFault("a frame without an end")
        return packets


def _unescaped(frame: bytes) -> bytes:
    first, *pieces = frame.split(ESC)
    packet = bytearray(first)
    for piece in pieces:
        if piece[:1] not in (b"\xdc", b"\xdd"):
            raise WireFault("an escape octet that escapes nothing")
        packet += (END if piece[:1] == b"\xdc" else ESC) + piece[1:]
    return bytes(packet)
