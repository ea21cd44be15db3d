"""A source knows what to send, and when again."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.drivers.e131.models import E131Config
from roomlink.drivers.e131.source import KEEP_ALIVE_S, Source
from roomlink.drivers.e131.wire import decode


def make(**keys: Any) -> Source:
    return Source(E131Config(universe=9, **keys))


def test_unchanged_data_is_sent_three_times_then_kept_alive() -> None:
    """The gaps say so; a change begins anew."""
    source = make(rate=40.0)
    source.slots[0] = 1
    gaps = []
    for _ in range(5):
        source.packet()
        gaps.append(source.gap_s)
    assert gaps == pytest.approx([1.5 / 40, 1.5 / 40, KEEP_ALIVE_S, KEEP_ALIVE_S, KEEP_ALIVE_S])
    source.slots[0] = 2
    source.packet()
    assert source.gap_s == pytest.approx(1.5 / 40)


def test_the_first_packet_is_a_change_even_if_all_is_zero() -> None:
    """Dark is a state that receivers must be told; and so is everything after ``renew``."""
    source = make()
    assert source.changed
    source.packet()
    assert not source.changed
    source.renew()
    assert source.changed


def test_the_sequence_counts_on_and_wraps() -> None:
    """0 to 255, through good-byes and new connections."""
    source = make()
    seen = [decode(bytes(source.packet())).sequence for _ in range(300)]
    assert seen == [n % 256 for n in range(300)]
    source.renew()
    assert decode(bytes(source.good_bye())).sequence == 300 % 256
    assert decode(bytes(source.packet())).sequence == 301 % 256


def test_the_identifier_is_the_same_in_every_process_and_another_for_another_source() -> None:
    """Receivers see one source before and after a restart; a given one is used as it is."""

    def cid(source: Source) -> str:
        return str(decode(bytes(source.packet())).cid)

    assert cid(make()) == cid(make()) == "b8811eae-8b33-5d6d-9016-3f3f2b94476a"
    assert cid(make(source="stage")) != cid(make())
    given = "12345678-9abc-4def-8123-456789abcdef"
    assert cid(make(cid=given)) == given


def test_options_say_preview_and_good_bye_apart() -> None:
    """A good-bye is one packet's, preview the whole stream's."""
    source = make(preview=True)
    assert decode(bytes(source.good_bye())).options == 0xC0
    assert decode(bytes(source.packet())).options == 0x80
