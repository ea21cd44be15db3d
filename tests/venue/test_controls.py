"""Controls, and the values that they take."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from roomlink.core.spec import CONTROL_KINDS
from roomlink.venue.base import Fault
from roomlink.venue.controls import KINDS, Choice, Level, Momentary, Switch, capitalised, repeated, resolved
from roomlink.venue.motion import Motion

CHOICE = Choice(kind="choice", options=["lectern", "laptop"])
LEVEL = Level.model_validate({"kind": "level", "unit": "dB", "range": [-60, 0], "travel": "3s", "ceiling": -6})
SWITCH = Switch(kind="switch")
MOMENTARY = Momentary(kind="momentary")
MOTION = Motion.model_validate({"kind": "motion", "travel": "20s", "max_run": "25s"})


@pytest.mark.parametrize(
    ("control", "raw", "value"),
    [
        (CHOICE, "laptop", "laptop"),
        (CHOICE, "none", None),
        (CHOICE, None, None),
        (LEVEL, -60, -60.0),
        (LEVEL, -6, -6.0),
        (SWITCH, "on", True),
        (SWITCH, False, False),
    ],
)
def test_a_control_takes_its_values(control: Any, raw: object, value: object) -> None:
    """They become an option's name, a float, true or false, or none."""
    taken = control.take(raw)
    assert taken == value
    assert type(taken) is type(value)


@pytest.mark.parametrize(
    ("control", "raw"),
    [
        (CHOICE, "camera"),
        (CHOICE, True),
        (CHOICE, ["laptop"]),
        (LEVEL, -61),
        (LEVEL, -5),
        (LEVEL, "-30"),
        (LEVEL, True),
        (LEVEL, None),
        (SWITCH, None),
        (SWITCH, 1),
        (SWITCH, {}),
        (MOMENTARY, "on"),
        (MOTION, "open"),
    ],
)
def test_a_control_refuses_what_it_cannot_be(control: Any, raw: object) -> None:
    """The fault says what would be right."""
    taken = control.take(raw)
    assert isinstance(taken, Fault)
    assert taken.right


@pytest.mark.parametrize("control", [CHOICE, LEVEL, SWITCH, MOMENTARY, MOTION], ids=lambda control: control.kind)
def test_the_core_knows_every_member_of_a_resolved_control(control: Any) -> None:
    """No member is lost on the way, and none is missing."""
    data = resolved("the-control", control)
    assert set(data) == {member.name for member in fields(CONTROL_KINDS[control.kind])}


def test_every_kind_of_the_core_can_be_written() -> None:
    """And no other."""
    assert KINDS.keys() == CONTROL_KINDS.keys()


def test_names_become_words() -> None:
    """Hyphens are spaces, and the first letter is a capital."""
    assert [capitalised(name) for name in ("heron", "heron-wall", "2")] == ["Heron", "Heron wall", "2"]


def test_repeated_names_are_found_once() -> None:
    """In the order of their first appearance."""
    assert repeated(["a", "b", "c", "b", "a", "a"]) == ["a", "b"]
