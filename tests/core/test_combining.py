"""Regrouping: who leads, who is linked, and what values the zones get."""

from __future__ import annotations

from typing import Any

import pytest

from roomlink.core.commands import TakeLead
from roomlink.core.events import Regrouped
from roomlink.errors import Refused
from roomlink.testing import venues
from roomlink.testing.driver import FINGER, PLAIN, Driver


def make(count: int = 3, *, controls: dict[str, Any] | None = None, **combining: Any) -> Driver:
    rules = venues.lead_by_order(venues.names(count), **combining)
    return Driver(venues.row(count, controls=controls, combining=rules))


def leads(driver: Driver) -> list[str]:
    return [name for name, role in driver.state.roles.items() if role.lead]


# Leads and links


def test_the_first_of_the_lead_order_at_home_in_the_group_leads() -> None:
    """And a zone that stands alone is led by its own."""
    driver = Driver(venues.row(3, combining={"lead_order": ["c-panel", "a-panel", "b-panel"], "others": "own"}))
    assert sorted(leads(driver)) == ["a-panel", "b-panel", "c-panel"]
    driver.wall("a-b", "open")
    assert sorted(leads(driver)) == ["a-panel", "c-panel"]
    driver.wall("b-c", "open")
    assert leads(driver) == ["c-panel"]


def test_a_controller_outside_the_lead_order_never_leads() -> None:
    """Even alone in its zone."""
    driver = Driver(venues.row(2, combining={"lead_order": ["b-panel"], "others": "own"}))
    assert leads(driver) == ["b-panel"]


def test_the_lead_is_linked_to_all_zones_of_its_group_by_combining() -> None:
    """One press on the lead's panel reaches all; its home keeps its first reason."""
    driver = make()
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    assert driver.linked("a-panel") == ["a", "b", "c"]
    assert driver.reasons("a-panel", "a") == ("combining", "home")
    assert driver.reasons("a-panel", "c") == ("combining",)
    assert driver.set("a-panel", "volume", -10.0).reply["zones"] == ["a", "b", "c"]


def test_a_zone_that_stands_alone_has_nothing_to_mirror() -> None:
    """A panel beside its lead is linked by its home alone, whatever the lead unlinks and links again."""
    controllers = {**venues.panels("ab"), "desk": {"home": "a"}}
    rules = {**venues.lead_by_order("ab"), "others": "mirror"}
    driver = Driver(venues.row(2, controllers=controllers, combining=rules))
    driver.unlink("a-panel")
    driver.link("a-panel", "a")
    assert driver.reasons("desk", "a") == ("home",)


def test_others_keep_their_own_zone() -> None:
    """With ``own`` they act on their home alone."""
    driver = make()
    driver.wall("a-b", "open")
    assert driver.linked("b-panel") == ["b"]
    driver.set("b-panel", "volume", -10.0)
    assert driver.values("volume", "ab") == [-30.0, -10.0]


def test_others_mirror_the_lead() -> None:
    """With ``mirror`` every panel of the group acts on the whole group."""
    driver = make(others="mirror")
    driver.wall("a-b", "open")
    assert sorted(driver.linked("b-panel")) == ["a", "b"]
    driver.set("b-panel", "volume", -10.0)
    assert driver.values("volume", "ab") == [-10.0, -10.0]


def test_mirrors_follow_what_the_lead_unlinks_and_links_again() -> None:
    """They keep their home, and what they linked by hand."""
    driver = make(others="mirror")
    driver.wall("a-b", "open")
    driver.wall("b-c", "open")
    driver.link("b-panel", "c")
    driver.unlink("a-panel", "c")
    assert sorted(driver.linked("b-panel")) == ["a", "b", "c"]
    assert driver.reasons("b-panel", "c") == ("hand",)
    assert driver.reasons("c-panel", "c") == ("home",)
    driver.unlink("a-panel", "a")
    assert (sorted(driver.linked("b-panel")), sorted(driver.linked("c-panel"))) == (["b", "c"], ["b", "c"])
    driver.link("a-panel", "a")
    assert (sorted(driver.linked("b-panel")), sorted(driver.linked("c-panel"))) == (["a", "b", "c"], ["a", "b", "c"])
    driver.unlink("b-panel", "a")
    assert sorted(driver.linked("c-panel")) == ["a", "b", "c"]


def test_others_are_locked_while_the_lead_leads() -> None:
    """Orders and links are refused with who leads."""
    driver = make(others="lock")
    driver.wall("a-b", "open")
    for attempt in (
        lambda: driver.set("b-panel", "volume", -10.0),
        lambda: driver.link("b-panel", "c"),
    ):
        with pytest.raises(Refused, match="a-panel") as caught:
            attempt()
        assert (caught.value.kind, caught.value.members["by"]) == ("locked", "a-panel")
    driver.wall("a-b", "closed")
    driver.set("b-panel", "volume", -10.0)
    assert driver.values("volume", "ab") == [-30.0, -10.0]


def test_a_locked_panel_may_unlink() -> None:
    """That lets go; once it is unlocked its home is back."""
    driver = make(others="lock")
    driver.wall("a-b", "open")
    driver.unlink("b-panel")
    assert driver.linked("b-panel") == []
    driver.wall("a-b", "closed")
    assert driver.linked("b-panel") == ["b"]


def test_locking_lets_go_of_what_the_controller_holds() -> None:
    """Nothing is held by a panel that cannot release it."""
    driver = make(others="lock")
    driver.act("b-panel", "talkback", "press")
    driver.act("b-panel", "volume", "raise")
    driver.advance(1.0)
    driver.wall("a-b", "open")
    assert driver.state.holds == {}
    driver.advance(1.0)
    assert (driver.value("b", "talkback"), driver.value("b", "volume")) == (False, -20.0)


def test_a_group_without_a_lead_links_nobody() -> None:
    """Nobody is locked either."""
    driver = Driver(venues.row(2, combining={"lead_order": [], "others": "lock"}))
    driver.wall("a-b", "open")
    assert driver.linked("a-panel") == ["a"]
    driver.set("b-panel", "volume", -10.0)


def test_links_by_hand_stay_through_combining_and_separating() -> None:
    """Where the controller keeps them (``hand_links_on_close: keep``), they go when a hand unlinks them."""
    rules = venues.lead_by_order("abc")
    driver = Driver(venues.row(3, panel={"hand_links_on_close": "keep"}, combining=rules))
    driver.link("a-panel", "b", "c")
    driver.wall("a-b", "open")
    assert driver.reasons("a-panel", "b") == ("hand", "combining")
    driver.wall("a-b", "closed")
    assert driver.reasons("a-panel", "b") == ("hand",)
    assert driver.linked("a-panel") == ["a", "b", "c"]


def test_links_by_combining_are_replaced_by_those_of_the_new_group() -> None:
    """Separating leaves only what other reasons hold."""
    driver = make(4)
    for wall in ("a-b", "b-c", "c-d"):
        driver.wall(wall, "open")
    driver.wall("b-c", "closed")
    assert driver.linked("a-panel") == ["a", "b"]
    assert driver.linked("c-panel") == ["c", "d"]
    driver.wall("a-b", "closed")
    assert driver.linked("a-panel") == ["a"]
    assert driver.reasons("a-panel", "a") == ("home",)


def test_separating_lets_go_of_what_the_lead_holds_in_the_parted_zone() -> None:
    """A link that ends is an unlinking."""
    driver = make()
    driver.wall("a-b", "open")
    driver.act("a-panel", "talkback", "press")
    driver.wall("a-b", "closed")
    assert driver.values("talkback", "ab") == [True, False]


def test_a_zone_unlinked_by_hand_stays_out_until_the_next_regrouping() -> None:
    """Time, wakes and reports that change nothing do not bring it back; a regrouping does."""
    driver = make()
    driver.wall("a-b", "open")
    driver.unlink("a-panel", "b")
    driver.wall("a-b", "open")
    driver.advance(3600.0)
    assert driver.linked("a-panel") == ["a"]
    driver.wall("b-c", "open")
    assert driver.linked("a-panel") == ["a", "b", "c"]


def test_a_group_that_does_not_change_is_left_alone() -> None:
    """A regrouping elsewhere relinks nothing here."""
    driver = make(4)
    driver.wall("a-b", "open")
    driver.unlink("a-panel", "b")
    driver.wall("c-d", "open")
    assert driver.linked("a-panel") == ["a"]


def test_without_a_combining_section_groups_touch_no_links() -> None:
    """Groups are there all the same."""
    driver = Driver(venues.row(2))
    driver.wall("a-b", "open")
    assert driver.groups() == [["a", "b"]]
    assert (driver.linked("a-panel"), driver.linked("b-panel")) == (["a"], ["b"])
    assert leads(driver) == []


def test_combining_does_not_change_the_order_of_linking_of_standing_links() -> None:
    """What a hand linked last stays the last."""
    driver = make()
    driver.link("a-panel", "b", "a")
    driver.wall("a-b", "open")
    assert driver.linked("a-panel") == ["b", "a"]


# Values on combining


def three(rule: Any, control: str = "volume", **combining: Any) -> Driver:
    """``a`` at -30 dB, ``b`` at -50 dB, ``c`` at -10 dB; then all walls open."""
    driver = make(on_combine={control: rule}, **combining)
    driver.set("b", "volume", -50.0)
    driver.set("c", "volume", -10.0)
    driver.set("a", "program", "laptop")
    driver.set("b", "mute", True)
    return driver


def open_all(driver: Driver) -> None:
    for wall in driver.state.spec.partitions:
        driver.wall(wall, "open")


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("lead", [-30.0, -30.0, -30.0]),
        ("keep", [-30.0, -50.0, -10.0]),
        ("quietest", [-50.0, -50.0, -50.0]),
        ("loudest", [-10.0, -10.0, -10.0]),
        (-45.0, [-45.0, -45.0, -45.0]),
    ],
)
def test_on_combine_by_rule(rule: Any, expected: list[float]) -> None:
    """Every zone of a group that grew is treated."""
    driver = three(rule)
    open_all(driver)
    assert driver.values("volume", "abc") == expected


def test_on_combine_mean_is_the_mean_of_the_zones() -> None:
    """Of those that join at one time."""
    driver = three("mean")
    driver.join("all", "a", "b", "c")
    assert driver.values("volume", "abc") == [-30.0] * 3
    driver = make(2, on_combine={"volume": "mean"})
    driver.set("b", "volume", -50.0)
    driver.wall("a-b", "open")
    assert driver.values("volume", "ab") == [-40.0, -40.0]


def test_on_combine_lead_gives_choices_and_switches_too() -> None:
    """A choice breaks before it makes there as well."""
    driver = make(
        2,
        controls={"program": venues.choice(gap=0.3), "mute": venues.switch()},
        on_combine={"program": "lead", "mute": "lead"},
    )
    driver.set("a", "program", "laptop")
    driver.set("b", "program", "camera")
    driver.set("a", "mute", True)
    driver.wall("a-b", "open")
    assert (driver.control("b", "program")["value"], driver.control("b", "program")["pending"]) == (None, "laptop")
    driver.advance(0.3)
    assert driver.values("program", "ab") == ["laptop", "laptop"]
    assert driver.values("mute", "ab") == [True, True]


def test_on_combine_can_give_an_option_or_none() -> None:
    """A value is a value of the control."""
    driver = make(2, on_combine={"program": "camera", "mute": True})
    driver.wall("a-b", "open")
    assert driver.values("program", "ab") == ["camera", "camera"]
    assert driver.values("mute", "ab") == [True, True]
    driver = make(2, on_combine={"program": "none"})
    driver.set("a", "program", "laptop")
    driver.wall("a-b", "open")
    assert driver.values("program", "ab") == [None, None]


def test_a_level_on_the_move_combines_by_where_it_goes_and_a_held_one_by_where_it_is() -> None:
    """A finger on raise does not make the whole hall loud."""
    driver = make(2, on_combine={"volume": "loudest"})
    driver.act("b", "volume", "raise")
    driver.advance(1.0)
    driver.wall("a-b", "open")
    driver.advance(10.0)
    assert driver.values("volume", "ab") == [-20.0, -20.0]
    driver = make(2, on_combine={"volume": "lead"})
    driver.set("a", "volume", -10.0, over=10.0)
    driver.wall("a-b", "open")
    driver.advance(10.0)
    assert driver.values("volume", "ab") == [-10.0, -10.0]


def test_levels_blend() -> None:
    """Over ``blend`` seconds from where they are."""
    driver = make(2, on_combine={"volume": "quietest"}, blend=2.0)
    driver.set("a", "volume", -50.0)
    driver.wall("a-b", "open")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-50.0, -40.0]
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-50.0, -50.0]


def test_local_controls_stay_with_their_zone() -> None:
    """Neither values nor the lead's presses reach them, unless a hand linked the zone."""
    driver = make(2, controls={"house": venues.level(scope="local")}, on_combine={"house": "lead"})
    driver.set("a", "house", -10.0)
    driver.wall("a-b", "open")
    assert driver.values("house", "ab") == [-10.0, -30.0]
    assert driver.set("a-panel", "house", -20.0).reply["zones"] == ["a"]
    driver.link("a-panel", "b")
    assert driver.set("a-panel", "house", -20.0).reply["zones"] == ["a", "b"]


def test_on_combine_gives_a_zone_nothing_that_it_cannot_take() -> None:
    """Zones without the control, or with another kind of it, are left alone."""
    rules = venues.lead_by_order("abc", on_combine={"volume": "loudest", "program": "lead"})
    driver = Driver(
        venues.row(
            3, combining=rules, zone_controls={"b": {"volume": venues.switch(), "program": venues.level()}, "c": {}}
        )
    )
    driver.set("a", "program", "laptop")
    open_all(driver)
    assert (driver.value("a", "volume"), driver.value("b", "volume"), driver.value("b", "program")) == (
        -30.0,
        False,
        -30.0,
    )


# Values on separating


def test_restore_gives_back_what_a_zone_had_when_it_last_stood_alone() -> None:
    """For every kind of control; a mute that is on stays on all the same."""
    driver = make(
        2,
        on_combine={"volume": "lead", "program": "lead", "mute": "lead"},
        on_separate={"volume": "restore", "program": "restore", "mute": "restore"},
    )
    driver.set("b", "volume", -50.0)
    driver.set("b", "program", "camera")
    driver.set("b", "mute", True)
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -5.0)
    driver.set("a-panel", "program", "lectern")
    driver.wall("a-b", "closed")
    assert driver.values("volume", "ab") == [-30.0, -50.0]
    assert driver.values("program", "ab") == [None, "camera"]
    assert driver.values("mute", "ab") == [True, True]


def test_restore_knows_what_was_asked_for_not_what_was_passed_on_the_way() -> None:
    """A ramp that combining cut short comes back to its target."""
    driver = make(2, on_combine={"volume": "lead"}, on_separate={"volume": "restore"})
    driver.set("b", "volume", -40.0, over=10.0)
    driver.advance(2.0)
    driver.set("a", "volume", -20.0)
    driver.wall("a-b", "open")
    assert driver.value("b", "volume") == -20.0
    driver.wall("a-b", "closed")
    assert driver.value("b", "volume") == -40.0


@pytest.mark.parametrize(("rule", "expected"), [("keep", -5.0), (-45.0, -45.0)])
def test_on_separate_keep_or_a_value(rule: Any, expected: float) -> None:
    """As the rule says, in each zone that stands alone again."""
    driver = make(2, on_separate={"volume": rule})
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -5.0)
    driver.wall("a-b", "closed")
    assert driver.values("volume", "ab") == [expected, expected]


def test_on_separate_none_turns_a_choice_off() -> None:
    """``none`` is a value."""
    driver = make(2, on_separate={"program": "none"})
    driver.wall("a-b", "open")
    driver.set("a-panel", "program", "laptop")
    driver.wall("a-b", "closed")
    assert driver.values("program", "ab") == [None, None]


def test_zones_that_stay_joined_keep_what_they_have() -> None:
    """Only the zone that stands alone is restored."""
    driver = make(on_separate={"volume": "restore"})
    open_all(driver)
    driver.set("a-panel", "volume", -5.0)
    driver.wall("b-c", "closed")
    assert driver.values("volume", "abc") == [-5.0, -5.0, -30.0]


def test_what_a_zone_remembers_is_from_when_it_stood_alone_not_from_a_smaller_group() -> None:
    """A group that grows forgets nothing of its zones."""
    driver = make(on_combine={"volume": "lead"}, on_separate={"volume": "restore"})
    driver.set("b", "volume", -50.0)
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -5.0)
    driver.wall("b-c", "open")
    driver.wall("a-b", "closed")
    driver.wall("b-c", "closed")
    assert driver.value("b", "volume") == -50.0


def test_a_part_that_is_still_plural_and_has_a_new_lead_is_combined_anew() -> None:
    """By ``on_combine``, from the new lead's home."""
    driver = make(on_combine={"volume": "lead"}, on_separate={"volume": "restore"})
    open_all(driver)
    driver.set("b", "volume", -5.0)
    driver.set("c", "volume", -3.0)
    driver.wall("a-b", "closed")
    assert driver.values("volume", "abc") == [-30.0, -5.0, -5.0]


def test_a_part_that_goes_on_under_the_lead_that_it_was_given_stays_as_it_is() -> None:
    """By the lead order another one led until now; in truth it was this one."""
    driver = make(on_combine={"volume": "lead"}, on_separate={"volume": "restore"})
    open_all(driver)
    driver.do(TakeLead(PLAIN, "b-panel"))
    driver.set("b", "volume", -5.0)
    driver.set("c", "volume", -3.0)
    driver.wall("a-b", "closed")
    assert driver.values("volume", "abc") == [-30.0, -5.0, -3.0]


def test_a_restored_level_blends() -> None:
    """Over ``blend`` as on combining."""
    driver = make(2, on_separate={"volume": "restore"}, blend=2.0)
    driver.wall("a-b", "open")
    driver.set("a-panel", "volume", -10.0)
    driver.wall("a-b", "closed")
    driver.advance(1.0)
    assert driver.values("volume", "ab") == [-20.0, -20.0]


# One change


def test_a_combine_is_one_decision() -> None:
    """Groups, flags, roles, links and values come in one entry; with gaps of 0 nothing is left to be done."""
    rules = venues.lead_by_order("abc", others="mirror", on_combine={"volume": "quietest", "program": "lead"})
    driver = Driver(venues.ring(3, combining=rules))
    driver.set("a", "program", "laptop")
    driver.wall("a-b", "open")
    before = len(driver.decisions)
    decision = driver.wall("b-c", "open")
    assert {type(e).__name__ for e in decision.events} >= {"WallSet", "Regrouped", "RoleSet", "LinkSet", "ControlSet"}
    assert driver.state.walls["a-c"].flagged
    assert len(driver.decisions) == before + 1
    assert driver.state.deadlines.first() is None


def test_a_wall_that_closes_ends_all_that_crossed_it_in_the_same_entry() -> None:
    """Sound, each display and links by hand; nothing gets louder or is unmuted, and after an hour idle values count."""
    controls = {
        "program": venues.choice("laptop", sources=True, carries=["sound"]),
        "screen": venues.choice("laptop", sources=True, carries=["picture"]),
        "volume": venues.level(),
        "mute": venues.switch(),
    }
    restore = dict.fromkeys(("volume", "mute"), "restore")
    for hours, volumes in ((0.5, [-40.0, -12.0]), (1.5, [-30.0, -30.0])):
        driver = make(2, controls=controls, on_combine={"volume": "quietest", "mute": "lead"}, on_separate=restore)
        driver.set("a", "volume", -40.0)
        driver.set("b", "volume", -10.0)
        driver.wall("a-b", "open")
        driver.set("b", "program", "a/laptop")
        driver.set("a", "screen", "b/laptop")
        driver.link("b-panel", "a")
        driver.set("a-panel", "volume", -12.0)
        driver.set("a-panel", "mute", True)
        driver.advance(3600.0 * hours)
        entries = len(driver.decisions)
        driver.wall("a-b", "closed")
        assert len(driver.decisions) == entries + 1
        assert (driver.value("b", "program"), driver.value("a", "screen")) == (None, None)
        assert driver.linked("b-panel") == ["b"]
        driver.advance(5.0)
        assert driver.values("mute", "ab") == [True, True]
        assert driver.values("volume", "ab") == volumes


def test_gaps_of_a_combine_make_in_a_second_entry_all_at_one_deadline() -> None:
    """However many zones change their option."""
    driver = make(4, controls={"program": venues.choice(gap=0.3)}, on_combine={"program": "lead"})
    for zone in "bcd":
        driver.set(zone, "program", "camera")
    driver.set("a", "program", "laptop")
    driver.join("all", "a", "b", "c", "d")
    before = len(driver.decisions)
    driver.advance(10.0)
    assert driver.values("program", "abcd") == ["laptop"] * 4
    assert len(driver.decisions) == before + 1


def test_only_groups_that_change_are_named() -> None:
    """The event holds exactly the zones of the groups that it replaces."""
    driver = make(4)
    decision = driver.wall("c-d", "open")
    assert [e.groups for e in decision.events if isinstance(e, Regrouped)] == [(("c", "d"),)]


def test_combining_ends_a_hold_on_a_level_that_it_sets() -> None:
    """A regrouping is a newer order."""
    driver = make(2, on_combine={"volume": -40.0})
    driver.act("b", "volume", "raise", by=FINGER)
    driver.advance(1.0)
    driver.wall("a-b", "open")
    driver.advance(5.0)
    assert driver.value("b", "volume") == -40.0
