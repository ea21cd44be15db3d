"""Sound and light: figures of the trade and of reference libraries, against the mapping of values to devices."""

from __future__ import annotations

import pytest

from roomlink.core.records import Level
from roomlink.drivers.mapping import CURVES, Scaling, decibels_to_ratio, to_eight_bits, to_sixteen_bits


@pytest.mark.parametrize(("db", "ratio"), [(-60, 0.001), (-20, 0.1), (-6, 0.501187), (-3, 0.707946), (6, 1.995262)])
def test_decibels_are_an_amplitude_ratio(db: float, ratio: float) -> None:
    """10^(dB/20), by the definition of the decibel for field quantities; within a millionth."""
    assert decibels_to_ratio(db) == pytest.approx(ratio, abs=1e-6)


@pytest.mark.parametrize(("percent", "octet"), [(0, 0), (1, 3), (10, 26), (25, 64), (50, 128), (75, 191), (100, 255)])
def test_percent_become_eight_bits_half_up(percent: float, octet: int) -> None:
    """Arithmetic; Python's own ``round`` would go half to even."""
    fraction = Scaling(0.0, 100.0, (0.0, 1.0)).out(percent)
    assert isinstance(fraction, float)
    assert to_eight_bits(fraction) == octet


def test_eight_bits_become_sixteen_by_257() -> None:
    """0xAB is 0xABAB: both ends meet."""
    for octet in range(256):
        assert to_sixteen_bits(octet / 255) == octet * 257


def test_the_square_law_gives_a_quarter_at_half() -> None:
    """And perceived light is about the root of the measured: IESNA Lighting Handbook, 9th ed., in a secondary copy."""
    out, back = CURVES["square"]
    assert out(0.5) == 0.25
    assert back(0.10) == pytest.approx(0.316, abs=0.0005)
    assert back(0.25) == 0.5


@pytest.mark.parametrize(
    ("luminance", "lightness"), [(12.19722535, 41.5278758), (18, 49.4961), (50, 76.0693), (100, 100)]
)
def test_lightness_is_that_of_cie_1976(luminance: float, lightness: float) -> None:
    """L* of Y as the ``colour-science`` library gives it, within 0.0001; and Y of L*."""
    out, back = CURVES["cie-lightness"]
    assert 100 * back(luminance / 100) == pytest.approx(lightness, abs=1e-4)
    assert 100 * out(lightness / 100) == pytest.approx(luminance, abs=1e-3)


def test_a_fade_ends_exactly_on_its_target_and_the_next_begins_where_it_is() -> None:
    """Whatever the numbers, no rounding is left at the end; through a curve neither."""
    scaling = Scaling(-60.0, 0.0, (0.0, 1.0), "square")
    fade = Level(origin=-60.0, to=-0.1, start=0.1, seconds=0.3, by="heron-wall")
    assert scaling.out(fade.at(0.4)) == scaling.out(fade.at(99.0)) == scaling.out(-0.1)
    present = fade.at(0.2)
    following = Level(origin=present, to=-60.0, start=0.2, seconds=1.0, by="heron-wall")
    assert following.at(0.2) == present
