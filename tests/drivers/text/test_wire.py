"""Lines come out of packets however they are cut, junk is counted, and no line holds two."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.drivers.port import WireFault
from roomlink.drivers.text.wire import LINE_BYTES_MAX, LineDecoder, encode


def decoded(data: bytes, cuts: list[int], ending: str = "\r\n", encoding: str = "ascii") -> tuple[list[str], int]:
    decoder = LineDecoder(ending, encoding)
    lines: list[str] = []
    marks = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    for start, end in pairwise(marks):
        lines += decoder.feed(data[start:end])
    return lines, decoder.junk


@settings(max_examples=30)
@given(st.lists(st.text("abc 12", min_size=1).filter(str.strip)), st.lists(st.integers(0, 10_000)))
@pytest.mark.parametrize("ending", ["\r\n", "\r", "\n", ";", "<>", ";;"])
def test_lines_are_the_same_however_the_packets_are_cut(ending: str, lines: list[str], cuts: list[int]) -> None:
    """Also through the middle of an ending."""
    data = b"".join(encode(line, "ascii", ending) for line in lines)
    assert decoded(data, cuts, ending) == (lines, 0)


@pytest.mark.parametrize("sent", [b"a\rb\r", b"a\nb\n", b"a\r\nb\r\n", b"\n\ra\n\rb\n\r", b"a\r\n\r\n \r\nb\r"])
def test_cr_and_lf_end_lines_together_or_alone(sent: bytes) -> None:
    """Devices differ, and empty lines mean nothing."""
    assert decoded(sent, []) == (["a", "b"], 0)


def test_what_is_no_line_is_counted_and_left_out() -> None:
    """Too long, or not of the encoding: the next line is read again."""
    assert decoded(b"x" * (LINE_BYTES_MAX + 1) + b"\rOK\r\xff\rOK\r", []) == (["OK", "OK"], 2)
    assert decoded(b"x" * 50_000 + b"\rOK\r", list(range(0, 50_000, 1000))) == (["OK"], 1)
    assert decoded("Größe\rGr\xf6\r".encode("latin-1") + "Größe\r".encode(), [], encoding="utf-8") == (["Größe"], 2)


def test_an_endless_line_takes_no_memory() -> None:
    """What has become too long is thrown away as it comes."""
    decoder = LineDecoder(";;", "ascii")
    for _ in range(1000):
        assert decoder.feed(b"x" * 1000) == []
        assert len(decoder.prompt()) <= LINE_BYTES_MAX
    assert decoder.feed(b";") + decoder.feed(b";OK;;") == ["OK"]
    assert decoder.junk == 1


def test_a_prompt_is_a_line_that_has_begun() -> None:
    """It can be looked at, and then taken."""
    decoder = LineDecoder("\r\n", "ascii")
    assert decoder.feed(b"hello\r\nlogin: ") == ["hello"]
    assert decoder.prompt() == "login: "
    assert decoder.flush() == ["login: "]
    assert decoder.prompt() == ""


@given(st.lists(st.binary(max_size=200)), st.sampled_from(["\r\n", ";", "<>"]), st.sampled_from(["ascii", "utf-8"]))
def test_no_bytes_raise_anything(packets: list[bytes], ending: str, encoding: str) -> None:
    """Whatever a device sends, there are lines or there is junk."""
    decoder = LineDecoder(ending, encoding)
    for packet in packets:
        for line in decoder.feed(packet):
            assert line.strip()
        decoder.prompt()
    decoder.flush()
    assert decoder.junk <= sum(map(len, packets))


@pytest.mark.parametrize(
    ("line", "ending", "says"),
    [
        ("a\nRESET", "\r", "ending"),
        ("a;RESET", ";", "ending"),
        ("é", "\r", "'é' cannot be written in ascii"),
        ("x" * 5000, "\r", "4096"),
    ],
)
def test_a_line_that_would_be_another_is_not_sent(line: str, ending: str, says: str) -> None:
    """One line stays one line, in the device's encoding."""
    with pytest.raises(WireFault, match=says):
        encode(line, "ascii", ending)
