"""``runtime.wanted``: what a point shall be, from the state and the plans."""

from __future__ import annotations

from roomlink.runtime.wanted import planned
from roomlink.runtime.wiring import SoundOutput
from roomlink.venue.sound_plan import GroupPlan


def test_of_loudspeakers_that_a_new_configuration_does_not_have_the_sound_plan_says_nothing() -> None:
    """It may be decided and not count yet, while the devices are wired by the one before."""
    plans = [GroupPlan(("a",), ("talk",), "talk", {"talk": {"front": -3.0}}, {"front": 0.0})]

    def said(microphone: str | None, loudspeakers: str) -> float | None:
        return planned(plans, SoundOutput("rack", "point", microphone, loudspeakers, -90.0))

    assert (said("talk", "front"), said(None, "front")) == (-3.0, 0.0)
    assert (said("talk", "gone"), said(None, "gone")) == (None, None)
