"""Feedback: the policy decides the value, and disagreement is never hidden."""

from __future__ import annotations

import pytest

from roomlink.core.feedback import NO_VOTES, POLICIES, of_levels, of_states
from roomlink.testing import venues
from roomlink.testing.driver import Driver


def states(policy: str, *values: object) -> tuple[object, bool, bool, str]:
    """Value, decided, mixed, and the outliers' names in a row."""
    votes = [(name, value) for name, value in zip("abcdefg", values, strict=False)]
    seen = of_states(policy, votes)  # type: ignore[arg-type]  # tests pass anything
    return seen.value, seen.decided, seen.mixed, "".join(seen.outliers)


def levels(policy: str, tolerance: float, *values: float) -> tuple[object, bool, bool, str]:
    seen = of_levels(policy, list(zip("abcdefg", values, strict=False)), tolerance)
    return seen.value, seen.decided, seen.mixed, "".join(seen.outliers)


@pytest.mark.parametrize(
    ("policy", "values", "expected"),
    [
        ("mismatch-flag", ["x", "x"], ("x", True, False, "")),
        ("mismatch-flag", ["x", "y"], (None, False, True, "ab")),
        ("mismatch-flag", ["x", None], (None, False, True, "ab")),
        ("mismatch-flag", [None, None], (None, True, False, "")),
        ("mismatch-flag", [False, False], (False, True, False, "")),
        ("majority", ["x", "x", "y"], ("x", True, True, "c")),
        ("majority", ["x", "y"], (None, False, True, "ab")),
        ("majority", ["x", "x", "y", "z"], (None, False, True, "abcd")),
        ("majority", [None, None, "x"], (None, True, True, "c")),
        ("majority", [True, False, True], (True, True, True, "b")),
        ("last-linked", ["x", "y"], ("y", True, True, "a")),
        ("last-linked", ["x", None], (None, True, True, "a")),
        ("last-linked", ["x", "x"], ("x", True, False, "")),
    ],
)
def test_states_by_policy(policy: str, values: list[object], expected: tuple[object, ...]) -> None:
    """Common value or none; more than half or none; the zone linked last."""
    assert states(policy, *values) == expected


@pytest.mark.parametrize(
    ("policy", "tolerance", "values", "expected"),
    [
        ("mismatch-flag", 0.5, [-30.0, -30.4], (-30.2, True, False, "")),
        ("mismatch-flag", 0.5, [-30.0, -30.5, -30.1], (-30.1, True, False, "")),
        ("mismatch-flag", 0.5, [-30.0, -30.6], (None, False, True, "ab")),
        ("majority", 0.5, [-30.0, -30.4, -10.0], (-30.0, True, True, "c")),
        ("majority", 0.5, [-30.0, -20.0], (None, False, True, "ab")),
        ("majority", 0.5, [-30.0, -29.6, -20.0, -10.0], (None, False, True, "abcd")),
        ("majority", 1.0, [-30.0, -29.0], (-29.5, True, False, "")),
        ("last-linked", 0.5, [-30.0, -30.4, -20.0], (-20.0, True, True, "ab")),
        ("last-linked", 0.5, [-30.0, -30.4], (-30.4, True, False, "")),
    ],
)
def test_levels_by_policy(policy: str, tolerance: float, values: list[float], expected: tuple[object, ...]) -> None:
    """Levels agree when highest − lowest is within the tolerance; the median is shown."""
    value, *rest = levels(policy, tolerance, *values)
    assert value == pytest.approx(expected[0])
    assert tuple(rest) == expected[1:]


def test_mixed_without_outliers_is_possible() -> None:
    """Both lie within the tolerance of the median, and yet the two are too far apart."""
    assert levels("majority", 0.5, -30.4, -30.0, -29.6) == (-30.0, True, True, "")


def test_the_tolerance_absorbs_binary_rounding() -> None:
    """0.1 + 0.2 lies within 0.3 of nothing."""
    assert levels("mismatch-flag", 0.3, 0.0, 0.1 + 0.2)[1]


@pytest.mark.parametrize("policy", sorted(POLICIES))
def test_without_votes_nothing_is_decided(policy: str) -> None:
    """A controller without links shows nothing, and disagrees with nobody."""
    assert of_states(policy, []) == NO_VOTES
    assert of_levels(policy, [], 0.5) == NO_VOTES


@pytest.mark.parametrize("policy", sorted(POLICIES))
def test_one_zone_always_agrees_with_itself(policy: str) -> None:
    """Every policy shows it as it is."""
    assert states(policy, "x") == ("x", True, False, "")
    assert levels(policy, 0.0, -3.0) == (-3.0, True, False, "")


# Through a controller


def test_undecided_is_told_from_no_option_on() -> None:
    """Both have no value; only one is decided."""
    driver = Driver(venues.row(2))
    driver.link("a-panel", "b")
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["decided"], shown["mixed"]) == (None, True, False)
    driver.set("b", "program", "laptop")
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["decided"], shown["mixed"], shown["outliers"]) == (None, False, True, ["a", "b"])


def test_in_a_gap_a_zone_votes_with_its_pending_option() -> None:
    """So a change through a controller never flickers to undecided."""
    driver = Driver(venues.row(2, controls={"program": venues.choice(gap=0.3)}))
    driver.link("a-panel", "b")
    driver.set("a", "program", "laptop")
    driver.set("a-panel", "program", "camera")
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["decided"], shown["pending"], shown["mixed"]) == ("camera", True, "camera", False)


def test_a_zone_that_lacks_the_control_has_no_vote() -> None:
    """Nor does one where the name means another kind of control."""
    driver = Driver(venues.row(3, zone_controls={"b": {"mute": venues.switch()}, "c": {"program": venues.switch()}}))
    driver.link("a-panel", "b", "c")
    driver.set("a", "program", "laptop")
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["mixed"]) == ("laptop", False)


def test_links_are_evaluated_again_at_once_on_unlink() -> None:
    """The disagreement leaves with the zone."""
    driver = Driver(venues.row(2, panel={"feedback": "last-linked"}))
    driver.link("a-panel", "b")
    driver.set("b", "program", "laptop")
    assert driver.shown("a-panel", "program")["value"] == "laptop"
    driver.unlink("a-panel", "b")
    shown = driver.shown("a-panel", "program")
    assert (shown["value"], shown["mixed"]) == (None, False)


def test_last_linked_means_of_those_still_linked_in_the_order_of_linking() -> None:
    """Linking again makes a zone the last."""
    driver = Driver(venues.row(3, panel={"feedback": "last-linked"}))
    for zone, option in zip("abc", ("lectern", "laptop", "camera"), strict=True):
        driver.set(zone, "program", option)
    driver.link("a-panel", "b", "c")
    assert driver.shown("a-panel", "program")["value"] == "camera"
    driver.link("a-panel", "b")
    assert driver.shown("a-panel", "program")["value"] == "laptop"
    driver.unlink("a-panel", "b")
    assert driver.shown("a-panel", "program")["value"] == "camera"


def test_while_levels_move_the_value_is_the_one_of_now() -> None:
    """And the move of what is shown is given from start to arrival."""
    driver = Driver(venues.row(2))
    driver.link("a-panel", "b")
    driver.set("a-panel", "volume", -10.0, over=2.0)
    driver.advance(1.0)
    shown = driver.shown("a-panel", "volume")
    assert (shown["value"], shown["mixed"]) == (-20.0, False)
    assert (shown["moving"]["from"], shown["moving"]["to"], shown["moving"]["seconds"]) == (-30.0, -10.0, 2.0)
    driver.advance(1.0)
    assert driver.shown("a-panel", "volume")["moving"] is None


def test_a_momentary_shows_whether_it_is_on() -> None:
    """Held in one of two zones is mixed."""
    driver = Driver(venues.row(2))
    driver.link("a-panel", "b")
    driver.act("b", "talkback", "press")
    assert driver.shown("a-panel", "talkback")["mixed"] is True
    driver.act("a-panel", "talkback", "press")
    assert driver.shown("a-panel", "talkback")["value"] is True


@pytest.mark.parametrize("policy", POLICIES)
def test_one_zone_alone_is_shown_as_it_is_whatever_the_policy(policy: str) -> None:
    """It agrees with itself: nothing is mixed, and no option on is decided too."""
    assert states(policy, "x") == ("x", True, False, "")
    assert states(policy, None) == (None, True, False, "")
    assert levels(policy, 0.0, -12.5) == (-12.5, True, False, "")
