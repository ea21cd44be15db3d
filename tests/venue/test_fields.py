"""The kinds of value that the configuration is written in."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic_core import PydanticCustomError

from roomlink.limits import NAME_CHARS_MAX
from roomlink.venue import fields


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("0s", 0.0),
        ("0ms", 0.0),
        ("1ms", 0.001),
        ("300ms", 0.3),
        ("3s", 3.0),
        ("2.5s", 2.5),
        ("90s", 90.0),
        ("2min", 120.0),
        ("1.5min", 90.0),
        ("1h", 3600.0),
        ("24h", 86400.0),
    ],
)
def test_a_duration_is_a_number_with_its_unit(written: str, seconds: float) -> None:
    """Seconds come out, exactly."""
    assert fields.duration(written) == seconds


@pytest.mark.parametrize(
    "written",
    [
        "",
        "s",
        "3",
        "3 s",
        "3S",
        "-3s",
        "+3s",
        "3sec",
        "3m",
        "3s ",
        "1h30min",
        "1e3s",
        ".5s",
        "5.s",
        "٣s",
        "3s\n",
        None,
        [],
        {},
        True,
    ],
)
def test_anything_else_is_no_duration(written: Any) -> None:
    """The sentence says how to write one."""
    with pytest.raises(PydanticCustomError, match="is not a duration"):
        fields.duration(written)


@pytest.mark.parametrize(("written", "right"), [(3, "write 3s"), (0.5, "write 0.5s"), (-1, "write 3s")])
def test_a_bare_number_is_refused_with_the_unit_to_write(written: float, right: str) -> None:
    """A number without a unit could be anything."""
    with pytest.raises(PydanticCustomError) as caught:
        fields.duration(written)
    assert (caught.value.context or {})["right"] == right


def test_a_duration_has_a_longest() -> None:
    """A day and a minute is a mistake."""
    with pytest.raises(PydanticCustomError, match="too long"):
        fields.duration("1441min")


@pytest.mark.parametrize("written", ["heron", "a", "east-2", "b2b", "a-"])
def test_a_name_is_lower_case_letters_digits_and_hyphens(written: str) -> None:
    """It begins with a letter."""
    assert fields.name(written) == written


@pytest.mark.parametrize(
    "written", ["", "Heron", "2-east", "-a", "a_b", "a.b", "a b", "é", "a\n", "a" * (NAME_CHARS_MAX + 1), 1, None]
)
def test_anything_else_is_no_name(written: Any) -> None:
    """Names appear in addresses and files."""
    with pytest.raises(PydanticCustomError):
        fields.name(written)


@pytest.mark.parametrize(("written", "value"), [("on", True), ("off", False), (True, True), (False, False)])
def test_on_and_off_are_words(written: Any, value: bool) -> None:
    """YAML 1.2 reads on and off as texts, and true and false as such."""
    assert fields.switched(written) is value


@pytest.mark.parametrize("written", ["On", "yes", 1, 0, None, "true"])
def test_what_is_neither_on_nor_off_is_refused(written: Any) -> None:
    """Nothing is guessed."""
    with pytest.raises(PydanticCustomError, match="neither on nor off"):
        fields.switched(written)


@pytest.mark.parametrize("written", [True, "5", None, float("nan"), float("inf"), [1]])
def test_a_number_is_plain_and_finite(written: Any) -> None:
    """A text that looks like a number is none."""
    with pytest.raises(PydanticCustomError):
        fields.number(written)


@pytest.mark.parametrize("written", ["America", "Halifax", "/etc/passwd", "../UTC", "", "a\0b", "é/ü"])
def test_a_time_zone_is_known_to_this_machine(written: str) -> None:
    """A folder of zones, a path or a half name is none."""
    with pytest.raises(PydanticCustomError, match="is not a time zone"):
        fields.timezone(written)


def test_a_misspelt_time_zone_is_answered_with_the_nearest() -> None:
    """The sentence says what would be right."""
    with pytest.raises(PydanticCustomError) as caught:
        fields.timezone("America/Halifix")
    assert (caught.value.context or {})["right"] == "did you mean 'America/Halifax'?"


def test_an_outline_that_encloses_nothing_is_refused() -> None:
    """Corners in one line make no room."""
    with pytest.raises(PydanticCustomError, match="encloses no area"):
        fields.outline([[0, 0], [1, 1], [2, 2]])
