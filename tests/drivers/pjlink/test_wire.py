"""Lines of PJLink."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.pjlink import wire
from roomlink.drivers.port import WireFault


def test_a_greeting_says_whether_a_password_is_wanted() -> None:
    """None without; the random number with."""
    assert wire.salt_of(b"PJLINK 0\r") is None
    assert wire.salt_of(b"PJLINK 1 498e4a67\r") == "498e4a67"
    assert wire.salt_of(b"pjlink 1 498e4a67\r") == "498e4a67"
    with pytest.raises(wire.WrongPassword):
        wire.salt_of(b"PJLINK ERRA\r")


@pytest.mark.parametrize(
    "line", [b"", b"\r", b"PJLINK 2\r", b"PJLINK 1\r", b"PJLINK 1 \r", b"HTTP/1.1 200 OK\r", b"\xff\r"]
)
def test_what_is_no_greeting_is_a_wire_fault(line: bytes) -> None:
    """Whoever listens on that port."""
    with pytest.raises(WireFault):
        wire.salt_of(line)


def test_an_answer_belongs_to_its_command() -> None:
    """Errors are raised with their meaning; anything else that is no answer is a fault of the wire."""
    assert wire.answer(b"%1POWR=OK\r", "POWR") == "OK"
    assert wire.answer(b"%1powr=1\r", "POWR") == "1"
    for code in wire.ERRORS:
        with pytest.raises(wire.Refused) as caught:
            wire.answer(f"%1POWR={code}\r".encode(), "POWR")
        assert caught.value.code == code
    with pytest.raises(wire.WrongPassword):
        wire.answer(b"PJLINK ERRA\r", "POWR")
    for line in (b"%1INPT=31\r", b"%2POWR=1\r", b"%1POWR 1\r", b"%1POWR=1", b"%1POWR=" + b"1" * 200 + b"\r"):
        with pytest.raises(WireFault):
            wire.answer(line, "POWR")


def test_inputs_have_names() -> None:
    """Five kinds of nine each, both ways."""
    for kind in wire.INPUT_KINDS:
        for number in range(1, 10):
            name = f"{kind}-{number}"
            assert wire.input_name(wire.input_code(name)) == name
    for wrong in ("digital", "digital-0", "digital-10", "hdmi-1", 31, True, None):
        with pytest.raises(ValueError, match="digital-1"):
            wire.input_code(wrong)


@pytest.mark.parametrize(
    ("code", "picture", "sound", "both"),
    [
        ("30", False, False, False),
        ("11", True, False, "picture"),
        ("21", False, True, "sound"),
        ("31", True, True, True),
    ],
)
def test_mute_is_told_part_by_part(code: str, picture: bool, sound: bool, both: object) -> None:
    """Both, while only one is muted, is neither on nor off."""
    assert (wire.muted(code, "picture"), wire.muted(code, "sound"), wire.muted(code, "both")) == (picture, sound, both)


def test_the_error_status_is_told_by_part_or_as_the_worst() -> None:
    """Fan, lamp, temperature, cover, filter, other."""
    assert [wire.severity("012000", part) for part in ("fan", "lamp", "temperature")] == ["ok", "warning", "error"]
    assert wire.severity("012000", None) == "error"
    assert wire.severity("000000", None) == "ok"


def test_lamp_hours_are_told_lamp_by_lamp() -> None:
    """A lamp that is not there has none."""
    assert wire.lamp_hours("1000 1 50 0", 1) == 1000
    assert wire.lamp_hours("1000 1 50 0", 2) == 50
    assert wire.lamp_hours("1000 1", 2) is None


READERS: list[Callable[[str], object]] = [
    wire.phase_of,
    wire.input_name,
    lambda text: wire.muted(text, "both"),
    lambda text: wire.severity(text, None),
    lambda text: wire.lamp_hours(text, 1),
    wire.done,
]


@given(st.one_of(st.text(max_size=12), st.from_regex(r"[0-9 ]{0,8}", fullmatch=True)))
def test_any_parameter_is_read_or_a_wire_fault(text: str) -> None:
    """Never another exception."""
    for read in READERS:
        try:
            read(text)
        except WireFault:
            continue


@given(st.binary(max_size=150))
def test_any_line_is_read_or_refused(line: bytes) -> None:
    """Greeting or answer: a WireFault, or one of the two that the protocol knows."""
    for read in (wire.salt_of, lambda data: wire.answer(data, "POWR")):
        try:
            read(line + b"\r")
        except (WireFault, wire.Refused, wire.WrongPassword):
            continue
