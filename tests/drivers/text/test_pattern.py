"""Patterns write and read the same lines, refuse what they cannot mean, and never take long."""

from __future__ import annotations

import time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomlink.drivers.port import Value, WireFault
from roomlink.drivers.text.pattern import PLACES_MAX, Pattern


@pytest.mark.parametrize(
    ("pattern", "values", "line"),
    [
        ("VOL {v:number}", {"v": -20.5}, "VOL -20.5"),
        ("VOL {v:number}", {"v": 20}, "VOL 20"),
        ("VOL {v:number}", {"v": 1e-9}, "VOL 0"),
        ("VOL {v:number 1 decimal}", {"v": -20.04}, "VOL -20.0"),
        ("VOL {v:number 1 decimal}", {"v": -0.04}, "VOL 0.0"),
        ("VOL {v:number 2 decimals}dB", {"v": 3}, "VOL 3.00dB"),
        ("VOL {v:integer}", {"v": 2.5}, "VOL 3"),
        ("VOL {v:integer}", {"v": -2.5}, "VOL -2"),
        ("V{z:integer 2 digits}{v:integer 3 digits}", {"z": 4, "v": -45}, "V04-045"),
        ("{v:on-off}", {"v": True}, "on"),
        ("MUTE{v:on-off 1 0}", {"v": False}, "MUTE0"),
        ("{v:on-off 'POWER ON' STANDBY}", {"v": True}, "POWER ON"),
        ("IN{v:choice laptop=1 camera=10 none=0}", {"v": "camera"}, "IN10"),
        ("IN{v:choice laptop=1 camera=10 none=0}", {"v": None}, "IN0"),
        ("NAME {v:word};", {"v": "heron"}, "NAME heron;"),
        ('NAME "{v:text}"', {"v": 'the "old" hall'}, 'NAME "the "old" hall"'),
        ("{{{v:integer}}}", {"v": 7}, "{7}"),
        ("\x1b{v:integer}C", {"v": 7}, "\x1b7C"),
    ],
)
def test_a_line_is_written_as_the_pattern_says(pattern: str, values: dict[str, Value], line: str) -> None:
    """Each type has one way of writing."""
    assert Pattern(pattern).write(values) == line


@pytest.mark.parametrize(
    ("pattern", "line", "found"),
    [
        ("VOL {v:number}", "VOL -20.50", {"v": -20.5}),
        ("VOL {v:number}", "  VOL +3 \r", {"v": 3.0}),
        ("VOL {v:number}", "VOL x", None),
        ("VOL {v:number}", "VOL " + "9" * 400, None),
        ("VOL {v:number}.", "VOL 3.", {"v": 3.0}),
        ("VOL {z:word} {v:integer}", "VOL heron -12", {"z": "heron", "v": -12}),
        ("V{z:integer 2 digits}{v:integer 3 digits}", "V03120", {"z": 3, "v": 120}),
        ("V{z:integer 2 digits}{v:integer 3 digits}", "V0312", None),
        ("{a:text}: {b:text}", "one: two: three", {"a": "one", "b": "two: three"}),
        ("{a:text} ({b:text})", "f ((x))", {"a": "f", "b": "(x)"}),
        ("IN{v:choice laptop=1 camera=10 none=0}", "IN10", {"v": "camera"}),
        ("IN{v:choice laptop=1 camera=10 none=0}", "IN0", {"v": None}),
        ("IN{v:choice laptop=1 camera=10}", "IN2", None),
        ("MUTE {v:on-off ON OFF}", "MUTE OFF", {"v": False}),
        ("OK", "OK", {}),
        ("OK", "OKAY", None),
        ("a.c", "abc", None),
    ],
)
def test_a_line_is_read_as_the_pattern_says(pattern: str, line: str, found: dict[str, Value] | None) -> None:
    """Only the whole line counts; literal text is literal; white space around does not count."""
    assert Pattern(pattern).read(line) == found


def test_a_place_without_a_type_takes_its_constant() -> None:
    """So one command serves many zones; what a constant holds is never read as a pattern."""
    pattern = Pattern("SET {zone} {word}={v:integer}", {"zone": 3, "word": "{gain:"})
    assert pattern.write({"v": 5}) == "SET 3 {gain:=5"
    assert pattern.read("SET 3 {gain:=5") == {"v": 5}
    assert pattern.read("SET 4 {gain:=5") is None
    assert str(pattern) == "SET 3 {gain:={v}"


@pytest.mark.parametrize(
    ("pattern", "right"),
    [
        ("", "characters"),
        ("a\nb", "ending"),
        ("a{b", "{{"),
        ("a}b", "}}"),
        ("{}", "{name:type}"),
        ("{zone}", "with:"),
        ("{v:float}", "number, integer, word, text, on-off, choice"),
        ("{v:number 1}", "number 1 decimal"),
        ("{v:integer 40 digits}", "12"),
        ("{v:text 3}", "alone"),
        ("{v:on-off ON}", "two words"),
        ("{v:on-off ON ON}", "same way"),
        ("{v:choice}", "laptop=IN1"),
        ("{v:choice a b}", "laptop=IN1"),
        ("{v:choice a=1 a=2}", "twice"),
        ("{v:choice a='1}", "quote"),
        ("{v:on-off '' x}", "empty"),
        ("{a:number}{b:number}", "between"),
        ("{a:text}{b:word}", "between"),
        ("{a:number}5", "digit"),
        ("{a:word} {a:word}", "one name"),
        (" ".join(f"{{p{i}:word}}" for i in range(PLACES_MAX + 1)), "16"),
        ("x" * 501, "500"),
    ],
)
def test_a_pattern_that_makes_no_sense_says_what_would(pattern: str, right: str) -> None:
    """Everything that could be meant in two ways is refused at load."""
    with pytest.raises(ValueError, match=right.replace("{", r"\{").replace("}", r"\}")):
        Pattern(pattern)


def test_a_constant_does_not_go_over_the_line() -> None:
    """A constant cannot carry a second command either."""
    with pytest.raises(ValueError, match="end of the line"):
        Pattern("SET {zone}", {"zone": "3\rRESET"})


@pytest.mark.parametrize(
    ("place", "value"),
    [
        ("number", "x"),
        ("number", True),
        ("number", None),
        ("number", float("nan")),
        ("number", 1e12),
        ("integer", float("inf")),
        ("integer 2 digits", 100),
        ("word", "two words"),
        ("word", ""),
        ("text", "line\r\nRESET"),
        ("text", 3),
        ("on-off", 1),
        ("on-off", "on"),
        ("choice a=1", "b"),
        ("choice a=1", None),
    ],
)
def test_a_value_that_does_not_fit_is_refused(place: str, value: Value) -> None:
    """Nothing is guessed, and a text cannot carry a command of its own."""
    with pytest.raises(WireFault):
        Pattern(f"SET {{v:{place}}}").write({"v": value})


TEXTS = st.text(st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="|"), min_size=1, max_size=20)
PLACES: dict[str, Any] = {
    "integer": st.integers(-(10**11), 10**11),
    "integer 4 digits": st.integers(-9999, 9999),
    "number 3 decimals": st.integers(-(10**8), 10**8).map(lambda n: n / 1000),
    "number": st.integers(-(10**8), 10**8).map(lambda n: n / 1000),
    "word": TEXTS,
    "text": st.lists(TEXTS, min_size=1, max_size=3).map(" ".join),
    "on-off ON OFF": st.booleans(),
    "choice a=1 b=10 c=101 none=0": st.sampled_from(["a", "b", "c", None]),
}


@given(st.data(), st.lists(st.sampled_from(sorted(PLACES)), min_size=1, max_size=5))
def test_what_is_written_is_read_back(data: st.DataObject, places: list[str]) -> None:
    """Whatever the types and values, with something between the places that no value holds."""
    values = {f"p{at}": data.draw(PLACES[place]) for at, place in enumerate(places)}
    pattern = Pattern("|".join(f"{{p{at}:{place}}}" for at, place in enumerate(places)))
    assert pattern.read(pattern.write(values)) == values


@given(st.text(max_size=60))
def test_any_text_is_a_pattern_or_a_plain_error(text: str) -> None:
    """A pattern never fails in another way than ValueError, and then reads any line."""
    try:
        pattern = Pattern(text)
    except ValueError:
        return
    pattern.read(text)


# Each would make a matcher that tries again and again take time in powers of the length.
HARD = [
    ("{a:text},{b:text},{c:text},{d:text}X", ","),
    ("{a:word}1{b:word}1{c:word}1{d:number}X", "1"),
    ("{a:text}aab{b:text}aab{c:text}aabX", "aaaaab"),
    ("{a:number} {b:number} {c:text}!", "1 "),
    ("{a:choice x=1 y=11}{b:choice x=1 y=11}{c:choice x=1 y=11}{d:text}X", "1"),
    ("{a:integer 1 digit}{b:text}0{c:text}0{d:text}X", "0"),
]


@pytest.mark.parametrize(("text", "junk"), HARD, ids=[text for text, _ in HARD])
def test_junk_takes_time_in_proportion_to_its_length(text: str, junk: str) -> None:
    """Sixteen times the line costs about sixteen times the time, not its square (256 times)."""
    pattern = Pattern(text)

    def cost(length: int) -> float:
        line = (junk * length)[:length]
        best = float("inf")
        for _ in range(5):
            began = time.process_time()
            for _ in range(3):
                assert pattern.read(line) is None
            best = min(best, time.process_time() - began)
        return best

    assert cost(64_000) < 80 * max(cost(4_000), 5e-6)


@settings(max_examples=50)
@given(st.text("01 ,aX", min_size=1, max_size=6), st.sampled_from([text for text, _ in HARD]))
def test_no_junk_takes_long(piece: str, text: str) -> None:
    """A line of the greatest length, made of whatever repeats, is read in far less than a tick."""
    pattern = Pattern(text)
    line = (piece * 4096)[:4096]
    began = time.process_time()
    pattern.read(line)
    assert time.process_time() - began < 0.1
