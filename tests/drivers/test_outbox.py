"""The outbox keeps one place a point: wanted, sent, reported, confirmed."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.outbox import Outbox, alike
from roomlink.drivers.port import Value


def constant(value: Value) -> Callable[[float], Value]:
    return lambda _t: value


def drive(outbox: Outbox, now: float, *, confirmed: bool = False) -> dict[str, Value]:
    """What a device without faults gets at ``now``."""
    values = outbox.take(now)
    outbox.sent(values, set(values) if confirmed else set(), now)
    return values


def test_what_was_sent_is_not_sent_again() -> None:
    """Only a difference is worth a message."""
    outbox = Outbox()
    outbox.want("a", constant(1.0), 0.0)
    assert drive(outbox, 1.0) == {"a": 1.0}
    assert outbox.idle
    outbox.want("a", constant(1.0), 0.0)
    assert drive(outbox, 2.0) == {}
    assert outbox.idle


def test_a_wish_for_what_is_confirmed_already_leaves_it_confirmed() -> None:
    """Nothing is sent, so nothing would confirm it again."""
    outbox = Outbox()
    outbox.want("a", constant(1.0), 0.0)
    drive(outbox, 1.0, confirmed=True)
    outbox.want("a", constant(1.0), 0.0)
    drive(outbox, 2.0)
    assert outbox.places["a"].confirmed


def test_true_and_one_are_different_values() -> None:
    """A device may tell a switch from a number."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    drive(outbox, 1.0)
    outbox.want("a", constant(True), 0.0)
    assert drive(outbox, 2.0) == {"a": True}


def test_a_newer_wish_survives_the_sending_of_an_older_one() -> None:
    """What was wanted between take and sent stays open."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    values = outbox.take(1.0)
    outbox.want("a", constant(2), 0.0)
    outbox.sent(values, {"a"}, 1.0)
    assert drive(outbox, 2.0) == {"a": 2}


def test_a_newer_wish_survives_the_refusal_of_an_older_one() -> None:
    """What was refused is the older value, not the point."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    outbox.take(1.0)
    outbox.want("a", constant(2), 0.0)
    outbox.refused("a", "no", 1, 1.0)
    assert outbox.places["a"].fault is None
    assert drive(outbox, 2.0) == {"a": 2}


@pytest.mark.parametrize("value", [5.0, math.nan])
def test_a_refused_value_is_not_tried_again_over_the_same_connection(value: float) -> None:
    """Not even a value that does not equal itself."""
    outbox = Outbox()
    outbox.want("a", constant(value), 0.0)
    outbox.refused("a", "no", outbox.take(1.0)["a"], 1.0)
    assert outbox.take(2.0) == {}
    assert outbox.idle
    assert outbox.places["a"].fault == "no"
    outbox.lost()
    assert set(outbox.take(3.0)) == {"a"}


def test_of_a_refused_ramp_only_the_end_is_tried() -> None:
    """A device that refuses a sample is not asked at every further one, but the target counts."""
    outbox = Outbox()
    outbox.want("a", lambda t: min(t, 10.0), 10.0)
    outbox.refused("a", "no", outbox.take(1.0)["a"], 1.0)
    assert outbox.take(5.0) == {}
    assert not outbox.idle
    assert drive(outbox, 10.0) == {"a": 10.0}
    assert outbox.idle
    assert outbox.places["a"].fault is None


def test_a_report_that_overtakes_the_senders_return_confirms() -> None:
    """The device may answer before ``sent`` is called; an old report of the same value confirms nothing."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    values = outbox.take(1.0)
    outbox.reported("a", 1)
    outbox.sent(values, set(), 1.0)
    assert outbox.places["a"].confirmed
    for value in (2, 1):
        outbox.want("a", constant(value), 0.0)
        drive(outbox, 2.0)
    assert not outbox.places["a"].confirmed


def test_another_report_takes_the_confirmation_away() -> None:
    """Somebody turned the device by hand."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    drive(outbox, 1.0, confirmed=True)
    assert outbox.reported("a", 3)
    assert not outbox.places["a"].confirmed
    assert not outbox.reported("a", 3)


def test_a_report_of_a_point_that_is_not_driven_is_always_news() -> None:
    """An input may say the same twice and mean it."""
    outbox = Outbox()
    assert outbox.reported("key", True)
    assert outbox.reported("key", True)


def test_after_a_loss_everything_is_open_and_nothing_confirmed() -> None:
    """The device may have lost its power."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    outbox.want("b", constant(2), 0.0)
    drive(outbox, 1.0, confirmed=True)
    outbox.lost()
    assert not outbox.places["a"].confirmed
    assert drive(outbox, 2.0) == {"a": 1, "b": 2}


def test_points_are_sent_in_the_order_in_which_they_were_first_wanted() -> None:
    """Who wants mute before route before level gets them in this order, after an outage too."""
    outbox = Outbox()
    for point in ("mute", "route", "level"):
        outbox.want(point, constant(1), 0.0)
    assert list(drive(outbox, 1.0)) == ["mute", "route", "level"]
    outbox.lost()
    assert list(drive(outbox, 2.0)) == ["mute", "route", "level"]


def test_a_forgotten_point_is_not_driven() -> None:
    """Also when it is forgotten while on its way."""
    outbox = Outbox()
    outbox.want("a", constant(1), 0.0)
    values = outbox.take(1.0)
    outbox.forget("a")
    outbox.sent(values, set(), 1.0)
    outbox.refused("a", "no", 1, 1.0)
    assert outbox.idle
    assert outbox.take(2.0) == {}


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        (0.1, 0.10000000149011612, True),
        (1, 1.0, True),
        (True, 1, False),
        (0.1, 0.2, False),
        ("a", "a", True),
        (None, 0, False),
    ],
)
def test_alike_forgives_rounding_and_nothing_else(a: Value, b: Value, same: bool) -> None:
    """A device that rounds to 32 bits has the value; one that has another kind of value has not."""
    assert alike(a, b) is same


moves = st.lists(
    st.one_of(
        st.tuples(st.just("want"), st.sampled_from("abc"), st.integers(0, 3), st.floats(0, 3)),
        st.tuples(st.sampled_from(["send", "lose", "refuse"])),
        st.tuples(st.just("hear"), st.sampled_from("abc"), st.integers(0, 3)),
    ),
    max_size=40,
)


@given(moves)
def test_whatever_happens_the_device_ends_with_the_latest_wishes(story: list[tuple[str, ...]]) -> None:
    """After any story of wishes, ramps, losses, refusals and reports one good connection settles everything."""
    outbox, device, wanted, now = Outbox(), dict[str, Value](), dict[str, Value](), 0.0
    for move, *args in story:
        now += 1.0
        if move == "want":
            point, target, seconds = args
            until = now + float(seconds)
            outbox.want(point, lambda t, to=target, end=until: to if t >= end else to - (end - t), until)  # type: ignore[misc]  # defaults bind
            wanted[point] = target
        elif move == "send":
            device.update(drive(outbox, now))
        elif move == "lose":
            outbox.take(now)
            outbox.lost()
            device.clear()
        elif move == "refuse":
            for point, value in outbox.take(now).items():
                outbox.refused(point, "no", value, now)
            outbox.lost()
            device.clear()
        else:
            outbox.reported(args[0], args[1])
    for _ in range(2):
        now += 10.0
        device.update(drive(outbox, now))
    assert device == wanted
    assert outbox.idle
