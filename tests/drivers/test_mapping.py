"""A control's value and a device's are each other's image."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.mapping import CURVES, Scaling, decibels_to_ratio, to_eight_bits, to_sixteen_bits
from roomlink.drivers.port import Value


@pytest.mark.parametrize("curve", CURVES)
@given(fraction=st.floats(0, 1))
def test_a_curve_and_its_inverse_undo_each_other(curve: str, fraction: float) -> None:
    """From 0 to 1, both ways, and both ends are exact."""
    out, back = CURVES[curve]
    assert back(out(fraction)) == pytest.approx(fraction, abs=1e-7)
    assert out(back(fraction)) == pytest.approx(fraction, abs=1e-7)
    assert out(0.0) == back(0.0) == 0.0
    assert out(1.0) == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("curve", CURVES)
@given(a=st.floats(0, 1), b=st.floats(0, 1))
def test_a_curve_never_turns_back(curve: str, a: float, b: float) -> None:
    """More at the control is never less at the device."""
    out, _ = CURVES[curve]
    assert out(min(a, b)) <= out(max(a, b))


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("onto", [(0.0, 1.0), (255.0, 0.0), (-80.0, 12.0)])
def test_a_level_that_was_mapped_comes_back(curve: str, onto: tuple[float, float]) -> None:
    """Also onto a range that runs the other way; what is outside is held at the ends."""
    scaling = Scaling(-60.0, 0.0, onto, curve)
    for level in (-60.0, -31.5, -3.0, 0.0):
        assert scaling.back(scaling.out(level), "level") == pytest.approx(level, abs=1e-6)
    assert scaling.out(-90.0) == scaling.out(-60.0) == onto[0]
    assert scaling.out(9.0) == scaling.out(0.0) == pytest.approx(onto[1])


def test_a_level_without_a_range_goes_in_its_own_unit() -> None:
    """-12.5 dB is -12.5 dB."""
    assert Scaling().out(-12.5) == -12.5
    assert Scaling().back(-12, "level") == -12.0


@pytest.mark.parametrize(
    ("kind", "value", "theirs"),
    [
        ("choice", "laptop", 3),
        ("choice", "camera", "cam"),
        ("choice", None, 0),
        ("switch", True, "ON"),
        ("switch", False, "OFF"),
    ],
)
def test_options_and_positions_go_through_the_table_both_ways(kind: str, value: Value, theirs: Value) -> None:
    """``none``, ``on`` and ``off`` stand for what has no name of its own."""
    scaling = Scaling(table={"laptop": 3, "camera": "cam", "none": 0, "on": "ON", "off": "OFF"})
    assert scaling.out(value) == theirs
    assert scaling.back(theirs, kind) == value


def test_without_a_table_options_and_positions_go_as_they_are() -> None:
    """A device that knows the names, or takes true and false."""
    for kind, value in (("choice", "laptop"), ("choice", None), ("switch", True), ("switch", False)):
        assert Scaling().out(value) == value
        assert Scaling().back(value, kind) == value
    assert Scaling().back(1, "switch") is True


@pytest.mark.parametrize(
    ("kind", "value", "table"),
    [
        ("level", "loud", {}),
        ("level", True, {}),
        ("level", None, {}),
        ("choice", 4, {"laptop": 3}),
        ("switch", "perhaps", {}),
    ],
)
def test_a_report_that_means_nothing_is_an_error(kind: str, value: Value, table: dict[str, Value]) -> None:
    """ValueError, so that nobody takes it for a value."""
    with pytest.raises(ValueError, match=r"no number|not in the table"):
        Scaling(table=table).back(value, kind)


def test_true_is_not_taken_for_the_number_one() -> None:
    """A table that maps an option to 1 does not match a device that says true."""
    scaling = Scaling(table={"laptop": 1, "camera": True})
    assert scaling.back(True, "choice") == "camera"
    assert scaling.back(1, "choice") == "laptop"


@given(st.floats(allow_nan=False))
def test_any_number_becomes_an_octet_or_two(fraction: float) -> None:
    """What is outside 0 to 1 is held at the ends."""
    assert 0 <= to_eight_bits(fraction) <= 255
    assert 0 <= to_sixteen_bits(fraction) <= 65535


@pytest.mark.parametrize("percent", range(101))
def test_a_percentage_is_rounded_half_up(percent: int) -> None:
    """As exact fractions say, also where floating point is a hair below the half."""
    assert to_eight_bits(percent / 100) == int(Fraction(percent, 100) * 255 + Fraction(1, 2))
    level = Scaling(0, 100, (0.0, 1.0)).out(float(percent))
    assert isinstance(level, float)
    assert to_sixteen_bits(level) == int(Fraction(percent, 100) * 65535 + Fraction(1, 2))


@given(st.floats(-200, 60))
def test_six_decibels_double_an_amplitude_nearly(db: float) -> None:
    """20 dB are ten times the amplitude."""
    assert decibels_to_ratio(db + 20) == pytest.approx(10 * decibels_to_ratio(db))
