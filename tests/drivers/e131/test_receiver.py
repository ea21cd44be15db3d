"""The receiving side takes what counts and lets go of the rest."""

from __future__ import annotations

from dataclasses import replace
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.e131.receiver import LOSS_S, SOURCES_MAX, Receiver, out_of_order
from roomlink.drivers.e131.wire import PREVIEW, TERMINATED, Packet, encode
from roomlink.drivers.port import WireFault

PACKET = Packet(UUID(int=1), "one", 4, 0, bytes([9]) * 512)


def octets(packet: Packet) -> bytes:
    return bytes(encode(packet))


@given(st.integers(0, 255), st.integers(-127, 128))
def test_a_packet_that_is_up_to_19_late_or_a_repeat_is_out_of_order(last: int, step: int) -> None:
    """-20 < new - last <= 0, across the wrap too."""
    assert out_of_order((last + step) % 256, last) == (-20 < step <= 0)


def test_a_late_packet_changes_nothing() -> None:
    """The newer data stays."""
    receiver = Receiver(4)
    assert receiver.feed(octets(replace(PACKET, sequence=10)), 0.0)
    assert receiver.feed(octets(replace(PACKET, sequence=9, slots=bytes(512))), 0.1) is None
    assert receiver.slots == PACKET.slots
    assert receiver.feed(octets(replace(PACKET, sequence=246, slots=bytes(512))), 0.2)
    assert receiver.slots == bytes(512)


def test_a_source_that_falls_silent_is_gone_after_the_time_out() -> None:
    """Then there is nothing to show, and its sequence begins anew."""
    receiver = Receiver(4)
    receiver.feed(octets(PACKET), 0.0)
    receiver.expire(LOSS_S)
    assert receiver.slots is not None
    receiver.expire(LOSS_S + 0.001)
    assert receiver.slots is None
    assert receiver.feed(octets(PACKET), 3.0)


def test_a_good_bye_ends_the_stream_at_once() -> None:
    """Its slots do not count, and repeats of it do no harm."""
    receiver = Receiver(4)
    receiver.feed(octets(PACKET), 0.0)
    for sequence in (1, 2, 3):
        receiver.feed(octets(replace(PACKET, sequence=sequence, options=TERMINATED)), 0.1)
    assert receiver.slots is None


def test_the_highest_priority_wins_and_among_equals_the_latest() -> None:
    """A stand-in with a lower priority is seen when the first is gone."""
    receiver = Receiver(4)
    receiver.feed(octets(PACKET), 0.0)
    receiver.feed(octets(replace(PACKET, cid=UUID(int=2), priority=90, slots=bytes(512))), 0.1)
    assert receiver.slots == PACKET.slots
    receiver.feed(octets(replace(PACKET, sequence=1, options=TERMINATED)), 0.2)
    assert receiver.slots == bytes(512)
    receiver.feed(octets(replace(PACKET, cid=UUID(int=3), priority=90, slots=b"\1" * 512)), 0.3)
    assert receiver.slots == b"\1" * 512


@pytest.mark.parametrize("other", [{"universe": 5}, {"start_code": 0xDD}, {"options": PREVIEW}])
def test_what_is_not_live_data_of_this_universe_is_left(other: dict[str, int]) -> None:
    """Another universe, another start code, or a preview."""
    receiver = Receiver(4)
    assert receiver.feed(octets(replace(PACKET, **other)), 0.0) is None  # type: ignore[arg-type]  # all are integers
    assert receiver.slots is None


def test_sources_are_bounded() -> None:
    """A flood of new identifiers does not fill the memory, nor push out who was there."""
    receiver = Receiver(4)
    for number in range(100):
        receiver.feed(octets(replace(PACKET, cid=UUID(int=number))), 0.0)
    assert len(receiver.sources) == SOURCES_MAX
    with pytest.raises(WireFault):
        receiver.feed(b"junk", 0.0)
