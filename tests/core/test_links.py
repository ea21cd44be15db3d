"""Links add up, survive, reach, carry, pick up and shift."""

from __future__ import annotations

import pytest

from roomlink.core.events import ControlSet
from roomlink.errors import BadValue, Refused, UnknownName
from roomlink.testing import venues
from roomlink.testing.driver import PLAIN, Driver


def make(count: int = 3, **panel: object) -> Driver:
    return Driver(venues.row(count, panel=panel))


def test_a_controller_starts_linked_to_its_home() -> None:
    """And the link says so."""
    driver = make()
    assert driver.linked("b-panel") == ["b"]
    assert driver.reasons("b-panel", "b") == ("home",)


def test_links_add_up_and_one_press_reaches_all() -> None:
    """Link A, then B, then C: one press reaches all three."""
    driver = make()
    driver.link("a-panel", "b", "c")
    assert driver.linked("a-panel") == ["a", "b", "c"]
    decision = driver.set("a-panel", "program", "laptop")
    assert decision.reply["zones"] == ["a", "b", "c"]
    assert driver.values("program", "abc") == ["laptop"] * 3


def test_a_controller_with_no_link_does_nothing_and_says_so() -> None:
    """The refusal says what to do."""
    driver = make()
    driver.unlink("a-panel")
    with pytest.raises(Refused, match="link a zone first") as caught:
        driver.set("a-panel", "volume", -10.0)
    assert caught.value.kind == "nothing-linked"
    assert driver.value("a", "volume") == -30.0


def test_unlinking_leaves_the_zone_as_it_is() -> None:
    """Even a ramp runs on: it was ordered."""
    driver = make()
    driver.set("a-panel", "volume", -10.0, over=2.0)
    driver.set("a-panel", "program", "laptop")
    driver.unlink("a-panel", "a")
    driver.advance(2.0)
    assert (driver.value("a", "volume"), driver.value("a", "program")) == (-10.0, "laptop")


def test_linking_a_linked_zone_makes_it_the_one_linked_last() -> None:
    """No zone is linked twice."""
    driver = make()
    driver.link("a-panel", "b", "c")
    driver.link("a-panel", "b")
    assert driver.linked("a-panel") == ["a", "c", "b"]


def test_linking_home_by_hand_gives_it_a_second_reason() -> None:
    """One link a pair, with the set of its reasons."""
    driver = make()
    driver.link("a-panel", "a")
    assert set(driver.reasons("a-panel", "a")) == {"home", "hand"}
    driver.unlink("a-panel", "a")
    assert driver.linked("a-panel") == []


def test_unlinking_all_unlinks_all_and_succeeds_with_none() -> None:
    """The reply lists what was unlinked."""
    driver = make()
    driver.link("a-panel", "b")
    assert driver.unlink("a-panel").reply["zones"] == ["a", "b"]
    assert driver.unlink("a-panel").reply["zones"] == []
    assert driver.unlink("a-panel", "b").reply["zones"] == []


def test_a_zone_shows_who_is_linked_to_it() -> None:
    """In the order of linking."""
    driver = make()
    driver.link("c-panel", "b")
    driver.link("a-panel", "b")
    assert driver.state.linked_by["b"] == ("b-panel", "c-panel", "a-panel")
    driver.unlink("c-panel", "b")
    assert driver.state.linked_by["b"] == ("b-panel", "a-panel")


def test_links_survive_a_restart() -> None:
    """They are state like any other."""
    driver = make()
    driver.link("a-panel", "c")
    driver.unlink("a-panel", "a")
    driver.restart(3600.0)
    assert driver.linked("a-panel") == ["c"]


def test_reach_lists_the_zones_that_may_be_linked_by_hand() -> None:
    """Home is always within reach; the refusal lists the reach."""
    driver = make(reach=["b"])
    driver.link("a-panel", "b")
    driver.unlink("a-panel", "a")
    driver.link("a-panel", "a")
    with pytest.raises(Refused) as caught:
        driver.link("a-panel", "c")
    assert (caught.value.kind, caught.value.members["allowed"]) == ("out-of-reach", ["b"])


@pytest.mark.parametrize(("controller", "zone"), [("nobody", "a"), ("a-panel", "nowhere")])
def test_unknown_names_are_refused(controller: str, zone: str) -> None:
    """With the names that there are."""
    driver = make()
    with pytest.raises(UnknownName, match="there is a"):
        driver.link(controller, zone)
    with pytest.raises(UnknownName):
        driver.unlink(controller, zone)


def test_a_controller_reaches_only_zones_that_have_the_control_in_its_kind_and_unit() -> None:
    """A zone that lacks it takes no part; if none has it, the refusal says that."""
    other = {"volume": venues.level(unit="%", lo=0.0, hi=100.0, start=50.0), "spot": venues.switch()}
    driver = Driver(venues.row(2, zone_controls={"b": other}))
    driver.link("a-panel", "b")
    assert driver.set("a-panel", "volume", -10.0).reply["zones"] == ["a"]
    assert driver.set("a-panel", "spot", True).reply["zones"] == ["b"]
    assert driver.value("b", "volume") == 50.0
    driver.unlink("a-panel", "a")
    with pytest.raises(Refused, match="none of its linked zones has volume"):
        driver.set("a-panel", "volume", -10.0)
    with pytest.raises(UnknownName, match="no control named 'organ'"):
        driver.set("a-panel", "organ", True)


# on_link


def test_keep_leaves_a_newly_linked_zone_alone() -> None:
    """The default."""
    driver = make()
    driver.set("a-panel", "volume", -10.0)
    driver.link("a-panel", "b")
    assert driver.values("volume", "ab") == [-10.0, -30.0]


def test_carry_ramps_a_newly_linked_zone_to_the_last_hand_set_value() -> None:
    """At the level's own rate: 20 dB at 10 dB a second."""
    driver = make(on_link="carry")
    driver.set("a-panel", "volume", -10.0)
    driver.link("a-panel", "b")
    driver.advance(1.0)
    assert driver.value("b", "volume") == -20.0
    driver.advance(1.0)
    assert driver.value("b", "volume") == -10.0
    assert driver.control("b", "volume")["moving"] is None


def test_carry_carries_what_raise_and_lower_left_behind() -> None:
    """A hand that raised has set the level as well."""
    driver = make(on_link="carry")
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    driver.link("a-panel", "b")
    driver.advance(5.0)
    assert driver.value("b", "volume") == -20.0


def test_carry_with_nothing_set_by_hand_carries_nothing() -> None:
    """There is no value to carry."""
    driver = make(on_link="carry")
    driver.set("a", "volume", -10.0)
    driver.link("a-panel", "b")
    driver.advance(10.0)
    assert driver.value("b", "volume") == -30.0


def test_carry_is_for_new_links_and_levels_alone() -> None:
    """Linking again moves nothing, and choices are read back, not carried."""
    driver = make(on_link="carry")
    driver.link("a-panel", "b")
    driver.set("a-panel", "volume", -10.0)
    driver.set("a-panel", "program", "laptop")
    driver.set("b", "volume", -50.0)
    driver.link("a-panel", "b")
    driver.link("a-panel", "c")
    driver.advance(10.0)
    assert driver.values("volume", "abc") == [-10.0, -50.0, -10.0]
    assert driver.value("c", "program") is None


def test_carry_never_crosses_units() -> None:
    """-10 dB means nothing to a level in percent."""
    percent = {"volume": venues.level(unit="%", lo=-100.0, hi=100.0, start=50.0)}
    driver = Driver(venues.row(2, panel={"on_link": "carry"}, zone_controls={"b": percent}))
    driver.set("a-panel", "volume", -10.0)
    driver.link("a-panel", "b")
    driver.advance(60.0)
    assert driver.value("b", "volume") == 50.0


def test_combining_carries_nothing() -> None:
    """``on_link`` is for links by hand and booking."""
    combining = venues.lead_by_order("ab", others="mirror")
    driver = Driver(venues.row(2, panel={"on_link": "carry"}, combining=combining))
    driver.set("a-panel", "volume", -10.0)
    driver.wall("a-b", "open")
    driver.advance(10.0)
    assert driver.linked("a-panel") == ["a", "b"]
    assert driver.value("b", "volume") == -30.0


def pickup() -> Driver:
    """The panel of ``a`` stands at -10 dB, ``b`` at -30 dB, newly linked."""
    driver = Driver(venues.row(3, panel={"on_link": "pickup"}, controls={"volume": venues.level(tolerance=0.5)}))
    driver.set("a-panel", "volume", -10.0)
    driver.link("a-panel", "b")
    return driver


def test_with_pickup_the_controller_does_not_act_before_it_passes_the_zone() -> None:
    """The reply says which zones wait."""
    driver = pickup()
    decision = driver.set("a-panel", "volume", -20.0)
    assert decision.reply == {"zones": ["a"], "waiting": ["b"]}
    assert driver.values("volume", "ab") == [-20.0, -30.0]


def test_pickup_is_met_on_crossing() -> None:
    """From above to below in one set: from now on the zone follows."""
    driver = pickup()
    assert driver.set("a-panel", "volume", -40.0).reply == {"zones": ["a", "b"]}
    driver.set("a-panel", "volume", -5.0)
    assert driver.values("volume", "ab") == [-5.0, -5.0]


def test_pickup_is_met_within_tolerance() -> None:
    """-29.5 dB is near enough to -30 dB, -29.4 dB is not."""
    driver = pickup()
    assert driver.set("a-panel", "volume", -29.4).reply["zones"] == ["a"]
    assert driver.set("a-panel", "volume", -29.5).reply["zones"] == ["a", "b"]
    assert driver.values("volume", "ab") == [-29.5, -29.5]


def test_pickup_is_met_when_the_zone_comes_to_the_controller() -> None:
    """What counts is where the zone's level is at the moment of the set."""
    driver = pickup()
    driver.set("b", "volume", -5.0)
    assert driver.set("a-panel", "volume", -4.0).reply["zones"] == ["a", "b"]


def test_raise_and_lower_bypass_pickup() -> None:
    """They run from each zone's own level, so nothing jumps."""
    driver = pickup()
    driver.act("a-panel", "volume", "raise")
    driver.advance(0.5)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "ab") == [-5.0, -25.0]


def test_align_bypasses_pickup_and_ends_it() -> None:
    """Whoever aligns wants it."""
    driver = pickup()
    driver.align("a-panel", "volume", -15.0)
    assert driver.values("volume", "ab") == [-15.0, -15.0]
    driver.set("a-panel", "volume", -10.0)
    assert driver.values("volume", "ab") == [-10.0, -10.0]


def test_pickup_is_per_link() -> None:
    """Home was never newly linked; ``c`` waits on its own."""
    driver = pickup()
    driver.set("a-panel", "volume", -40.0)
    driver.set("c", "volume", -50.0)
    driver.link("a-panel", "c")
    assert driver.set("a-panel", "volume", -35.0).reply == {"zones": ["a", "b"], "waiting": ["c"]}


# level_mode


def offset(**panel: object) -> Driver:
    """Linked: ``a`` at -30 dB, ``b`` at -20 dB, ``c`` at -10 dB."""
    driver = make(level_mode="offset", **panel)
    driver.link("a-panel", "b", "c")
    driver.set("b", "volume", -20.0)
    driver.set("c", "volume", -10.0)
    return driver


def test_same_gives_every_linked_zone_the_value() -> None:
    """The default."""
    driver = make()
    driver.link("a-panel", "b", "c")
    driver.set("b", "volume", -20.0)
    driver.set("a-panel", "volume", -25.0)
    assert driver.values("volume", "abc") == [-25.0] * 3


def test_raise_runs_from_each_zones_own_level() -> None:
    """Also with ``same``: the differences end at the end of the range."""
    driver = make()
    driver.link("a-panel", "b")
    driver.set("b", "volume", -5.0)
    driver.act("a-panel", "volume", "raise")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-20.0, 0.0]
    driver.act("a-panel", "volume", "lower")
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "ab") == [-30.0, -10.0]


def test_offset_shifts_from_the_last_linked_zone_if_undecided() -> None:
    """-10 dB to -15 dB shifts all three by -5 dB."""
    driver = offset()
    driver.set("a-panel", "volume", -15.0)
    assert driver.values("volume", "abc") == [-35.0, -25.0, -15.0]


def test_offset_shifts_from_the_value_shown_if_there_is_one() -> None:
    """Two of three agree on -20 dB: the majority shows it."""
    driver = offset(feedback="majority")
    driver.set("c", "volume", -20.0)
    driver.set("a-panel", "volume", -18.0)
    assert driver.values("volume", "abc") == [-28.0, -18.0, -18.0]


def test_differences_survive_an_end_of_range_for_set() -> None:
    """Up by 25 dB and down by 25 dB brings all back."""
    driver = offset()
    driver.link("a-panel", "a")
    driver.set("a-panel", "volume", -5.0)
    assert driver.values("volume", "abc") == [-5.0, 0.0, 0.0]
    driver.set("a-panel", "volume", -30.0)
    assert driver.values("volume", "abc") == [-30.0, -20.0, -10.0]


def test_differences_survive_an_end_of_range_for_raise_and_lower() -> None:
    """2 s up (10 dB a second) and 2 s down: each zone comes back to where it was."""
    driver = offset()
    driver.act("a-panel", "volume", "raise")
    driver.advance(2.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-10.0, 0.0, 0.0]
    driver.act("a-panel", "volume", "lower")
    driver.advance(0.5)
    assert driver.values("volume", "abc") == [-15.0, -5.0, 0.0]
    driver.advance(1.5)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-30.0, -20.0, -10.0]


def test_differences_survive_turning_round_without_a_release() -> None:
    """Lower while raise is still held counts from how far the raise has come."""
    driver = offset()
    driver.act("a-panel", "volume", "raise")
    driver.advance(2.0)
    driver.act("a-panel", "volume", "lower")
    driver.advance(2.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-30.0, -20.0, -10.0]


def test_differences_survive_a_set_while_raise_is_held() -> None:
    """The set shifts from how far the raise has come."""
    driver = offset()
    driver.act("a-panel", "volume", "raise")
    driver.advance(2.0)
    driver.link("a-panel", "a")
    driver.set("a-panel", "volume", -30.0)
    assert driver.values("volume", "abc") == [-30.0, -20.0, -10.0]


def test_holding_on_beyond_the_last_end_does_not_stretch_the_differences() -> None:
    """Once all have arrived the hold runs nothing any more."""
    driver = offset()
    driver.act("a-panel", "volume", "raise")
    driver.advance(9.0)
    driver.act("a-panel", "volume", "stop")
    driver.act("a-panel", "volume", "lower")
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-10.0, 0.0, 0.0]
    driver.act("a-panel", "volume", "lower")
    driver.advance(2.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-30.0, -20.0, -10.0]


def test_a_difference_kept_beyond_an_end_counts_at_that_end_alone() -> None:
    """A level that was stopped on its way there answers to the next press at once."""
    driver = offset()
    driver.link("a-panel", "a")
    driver.act("a-panel", "volume", "set", value=-5.0, over=2.0)
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-17.5, -10.0, -5.0]
    driver.act("a-panel", "volume", "lower")
    driver.advance(1.0)
    driver.act("a-panel", "volume", "stop")
    assert driver.values("volume", "abc") == [-27.5, -20.0, -15.0]


def ended() -> Driver:
    """``c`` is kept 10 dB above the top for the panel of ``a``."""
    driver = offset()
    driver.link("a-panel", "b")
    driver.set("a-panel", "volume", -10.0)
    driver.set("a-panel", "volume", 0.0)
    assert driver.values("volume", "abc") == [-10.0, 0.0, 0.0]
    assert driver.state.links["a-panel", "c"].excess == (("volume", 10.0),)
    return driver


def test_align_clears_the_differences() -> None:
    """All are equal afterwards, inside the range or out."""
    driver = ended()
    driver.align("a-panel", "volume", -10.0)
    driver.set("a-panel", "volume", -20.0)
    assert driver.values("volume", "abc") == [-20.0] * 3


def test_unlinking_clears_the_differences() -> None:
    """They live on the link."""
    driver = ended()
    driver.unlink("a-panel", "c")
    driver.link("a-panel", "c")
    driver.set("a-panel", "volume", -10.0)
    assert driver.values("volume", "abc") == [-20.0, -10.0, -10.0]


def test_a_direct_set_clears_the_differences_of_that_zone() -> None:
    """Whoever sets the zone itself decides where it stands, even at the same value."""
    driver = ended()
    driver.set("c", "volume", 0.0)
    driver.set("a-panel", "volume", -10.0)
    assert driver.values("volume", "abc") == [-20.0, -10.0, -10.0]


def test_an_order_through_another_controller_clears_the_differences() -> None:
    """To this controller it is a direct set."""
    driver = ended()
    driver.set("c-panel", "volume", 0.0)
    driver.set("a-panel", "volume", -10.0)
    assert driver.values("volume", "abc") == [-20.0, -10.0, -10.0]


def test_offset_has_no_say_over_choices_and_switches() -> None:
    """They are set alike."""
    driver = offset()
    driver.set("a-panel", "mute", True)
    assert driver.values("mute", "abc") == [True] * 3


# align


def test_align_sets_every_linked_zone_to_the_value_shown() -> None:
    """Which the last-linked policy always has."""
    driver = make(feedback="last-linked")
    driver.link("a-panel", "b")
    driver.set("b", "program", "camera")
    driver.set("b", "volume", -12.0)
    driver.align("a-panel", "program")
    driver.align("a-panel", "volume")
    assert driver.values("program", "ab") == ["camera", "camera"]
    assert driver.values("volume", "ab") == [-12.0, -12.0]


def test_align_with_nothing_shown_asks_for_a_value() -> None:
    """The refusal lists the zones that disagree."""
    driver = make()
    driver.link("a-panel", "b")
    driver.set("b", "program", "camera")
    with pytest.raises(Refused, match="value") as caught:
        driver.align("a-panel", "program")
    assert (caught.value.kind, caught.value.members["outliers"]) == ("undecided", ["a", "b"])
    driver.align("a-panel", "program", "laptop")
    assert driver.values("program", "ab") == ["laptop", "laptop"]


def test_align_to_none_turns_the_choice_off_everywhere() -> None:
    """A given null is a value."""
    driver = make()
    driver.link("a-panel", "b")
    driver.set("b", "program", "camera")
    driver.align("a-panel", "program", None)
    assert driver.values("program", "ab") == [None, None]


def test_align_is_for_controllers() -> None:
    """One zone always agrees with itself."""
    with pytest.raises(BadValue, match="controllers"):
        make().act("a", "program", "align", given=False)


@pytest.mark.parametrize(
    ("control", "do"), [("program", "raise"), ("volume", "press"), ("talkback", "set"), ("mute", "spin")]
)
def test_what_a_kind_of_control_cannot_do_is_refused(control: str, do: str) -> None:
    """With what it can."""
    with pytest.raises(BadValue) as caught:
        make().act("a-panel", control, do, value=True)
    assert caught.value.members["allowed"]


def test_a_choice_is_taken_by_the_zones_that_offer_it() -> None:
    """The reply says which; a zone of another type keeps what it has."""
    other = {"program": venues.choice("lectern", "organ")}
    driver = Driver(venues.row(2, zone_controls={"b": other}))
    driver.link("a-panel", "b")
    assert driver.set("a-panel", "program", "lectern").reply["zones"] == ["a", "b"]
    assert driver.set("a-panel", "program", "laptop").reply["zones"] == ["a"]
    assert driver.set("a-panel", "program", "organ").reply["zones"] == ["b"]
    with pytest.raises(BadValue) as caught:
        driver.set("a-panel", "program", "gramophone")
    assert "organ" in caught.value.members["allowed"]


def test_a_change_through_a_controller_is_one_entry() -> None:
    """All zones change together."""
    driver = make()
    driver.link("a-panel", "b", "c")
    decision = driver.set("a-panel", "volume", -10.0, by=PLAIN)
    assert len([e for e in decision.events if isinstance(e, ControlSet)]) == 3
