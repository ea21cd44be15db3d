"""Sound against values from outside the project.

[V] was calculated with a reference library (python-acoustics, numpy); [S] is read in a source that is named.
"""

from __future__ import annotations

import pytest

from roomlink.venue.sound_plan import delay, open_microphone_attenuation, plan, speed_of_sound


@pytest.mark.parametrize(("count", "decibels"), [(1, 0.0), (2, 3.01), (3, 4.77), (4, 6.02), (8, 9.03), (16, 12.04)])
def test_open_microphones_are_turned_down_by_ten_times_the_logarithm_of_their_number(
    count: int, decibels: float
) -> None:
    """[V] 10·log10 N."""
    assert open_microphone_attenuation(count) == pytest.approx(decibels, abs=0.01)


def test_eight_open_microphones_are_each_nine_decibels_down() -> None:
    """[S] Handbook for Sound Engineers, mixers chapter: eight open microphones add 9 dB over one."""
    microphones = {f"m{n}": {"zone": "stage", "at": [0.0, 0.0]} for n in range(8)}
    data = {
        "sound": {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None},
        "microphones": microphones,
        "loudspeakers": {"hall": {"zone": "hall", "at": [10.0, 0.0]}},
    }
    (made,) = plan(data, [["stage", "hall"]])
    assert [gains["hall"] for gains in made.gains.values()] == [pytest.approx(-9.03, abs=0.01)] * 8
    assert made.delays == {"hall": pytest.approx(29.14, abs=0.01)}


@pytest.mark.parametrize(("celsius", "speed"), [(0.0, 331.29), (10.0, 337.30), (20.0, 343.2), (30.0, 349.01)])
def test_the_speed_of_sound_is_that_of_iso_9613_1(celsius: float, speed: float) -> None:
    """[V] ISO 9613-1's formula as read in python-acoustics, 343.2·√(T/293.15)."""
    assert speed_of_sound(celsius) == pytest.approx(speed, abs=0.05)


def test_sound_takes_about_three_milliseconds_a_metre() -> None:
    """[V] 2.914 ms a metre at 20 °C."""
    assert delay(1.0, 20.0) == pytest.approx(2.914, abs=0.001)
