"""Gains and delays for joined zones."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.venue.sound_plan import ADVICE, OFF, plan, plan_heard

DATA: dict[str, Any] = {
    "sound": {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None},
    "microphones": {
        "heron-lectern": {"zone": "heron", "at": [0.0, 0.0]},
        "plover-lectern": {"zone": "plover", "at": [12.0, 0.0]},
        "tern-lectern": {"zone": "tern", "at": [12.0, 15.0]},
    },
    "loudspeakers": {
        "heron-ceiling": {"zone": "heron", "at": [0.0, 10.0]},
        "heron-balcony": {"zone": "heron", "at": [0.0, 14.0]},
        "plover-ceiling": {"zone": "plover", "at": [12.0, 5.0]},
        "tern-ceiling": {"zone": "tern", "at": [12.0, 20.0]},
    },
}


def test_each_zone_alone_hears_its_own_microphone_reduced() -> None:
    """One open microphone is not turned down; nothing reaches the loudspeakers of other groups."""
    heron, _, tern = plan(DATA, [["heron"], ["plover"], ["tern"]])
    assert heron.gains == {
        "heron-lectern": {
            "heron-ceiling": -6.0,
            "heron-balcony": -6.0,
            "plover-ceiling": OFF,
            "tern-ceiling": OFF,
        }
    }
    assert tern.gains["tern-lectern"]["tern-ceiling"] == -6.0
    assert list(heron.delays) == ["heron-ceiling", "heron-balcony"]


def test_joined_zones_share_their_microphones() -> None:
    """Two open ones are each 3 dB down; each is lower still where its talker stands."""
    (both, alone) = plan(DATA, [["heron", "plover"], ["tern"]])
    assert both.gains["heron-lectern"]["heron-ceiling"] == pytest.approx(-9.01, abs=0.01)
    assert both.gains["heron-lectern"]["plover-ceiling"] == pytest.approx(-3.01, abs=0.01)
    assert both.gains["plover-lectern"]["heron-balcony"] == pytest.approx(-3.01, abs=0.01)
    assert both.gains["plover-lectern"]["tern-ceiling"] == OFF
    assert "tern-lectern" not in both.gains
    assert alone.open == ("tern-lectern",)


def test_what_an_overflow_brings_is_counted_where_it_is_heard() -> None:
    """In the zone that receives there are two open microphones, in the other one."""
    heard = {"heron-lectern": ("heron", "tern"), "tern-lectern": ("tern",), "plover-lectern": ()}
    heron, plover, tern = plan_heard(DATA, [["heron"], ["plover"], ["tern"]], {}, heard)
    assert heron.gains["heron-lectern"]["heron-ceiling"] == -6.0
    assert heron.gains["heron-lectern"]["tern-ceiling"] == pytest.approx(-3.01, abs=0.01)
    assert tern.gains["tern-lectern"]["tern-ceiling"] == pytest.approx(-9.01, abs=0.01)
    assert tern.gains["tern-lectern"]["heron-ceiling"] == OFF
    assert (plover.open, plover.delays) == ((), {})


def test_a_radio_microphone_is_planned_where_it_is_now() -> None:
    """And is nobody to count delays from, as nobody knows where it is carried."""
    radio = {"zone": "heron", "at": None}
    data = {**DATA, "microphones": {"handheld": radio, **DATA["microphones"]}}
    _, plover = plan_heard(data, [["heron"], ["plover"]], {"handheld": "plover"}, {"handheld": ("plover",)})
    assert (plover.open, plover.talker, plover.delays) == (("handheld",), None, {})
    assert plover.gains["handheld"]["plover-ceiling"] == -6.0


def test_a_microphone_that_is_not_open_is_off() -> None:
    """And does not turn the others down."""
    (both,) = plan(DATA, [["heron", "plover"]], ["plover-lectern", "tern-lectern"])
    assert set(both.gains["heron-lectern"].values()) == {OFF}
    assert both.gains["plover-lectern"]["heron-ceiling"] == 0.0
    assert both.open == ("plover-lectern",)


def test_delays_are_counted_from_the_talker() -> None:
    """The first open microphone of the group, or the one named as reference if it is open there."""
    (both,) = plan(DATA, [["heron", "plover"]])
    assert both.talker == "heron-lectern"
    assert both.delays["heron-ceiling"] == pytest.approx(29.14, abs=0.01)
    assert both.delays["plover-ceiling"] == pytest.approx(13.0 * 2.914, abs=0.02)
    referred = {**DATA, "sound": {**DATA["sound"], "reference": "plover-lectern"}}
    assert plan(referred, [["heron", "plover"]])[0].delays["plover-ceiling"] == pytest.approx(14.57, abs=0.01)
    assert plan(referred, [["heron"]])[0].talker == "heron-lectern"


def test_without_an_open_microphone_there_is_nothing_to_delay() -> None:
    """All gains are off."""
    (heron,) = plan(DATA, [["heron"]], [])
    assert (heron.talker, heron.delays) == (None, {})
    assert set(heron.gains["heron-lectern"].values()) == {OFF}


def test_the_plan_says_that_it_advises() -> None:
    """A person tunes."""
    assert plan(DATA, [["heron"]])[0].advice == ADVICE
    assert "ears and a meter" in ADVICE
