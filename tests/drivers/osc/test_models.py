"""The keys of an OSC device, and what values and arguments are to each other."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import ValidationError

from roomlink.drivers.osc.models import OscConfig, OscPoint, from_argument, point_name, to_argument
from roomlink.drivers.osc.wire import Argument
from roomlink.drivers.port import Value


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"host": "", "port": 1},
        {"host": "h", "port": 0},
        {"host": "h", "port": 1, "transport": "sctp"},
        {"host": "h", "port": 1, "transport": "tcp", "listen": 9001},
        {"host": "h", "port": 1, "rate": 101},
        {"host": "h", "port": 1, "refresh": -1},
    ],
)
def test_an_impossible_device_is_refused(keys: dict[str, Any]) -> None:
    """No host, no port, or keys of the other transport."""
    with pytest.raises(ValidationError):
        OscConfig.model_validate(keys)


@pytest.mark.parametrize(
    "address",
    ["", "a", "/", "/a/", "//a", "/a b", "/a*", "/a?", "/a#", "/a,b", "/[a]", "/{a}", "/é", "/a\n", "/" + "a" * 255],
)
def test_an_address_that_is_none_or_a_pattern_is_refused(address: str) -> None:
    """A point is one address of the device."""
    with pytest.raises(ValidationError):
        OscPoint(address=address)
    with pytest.raises(ValidationError):
        OscPoint(address="/a", report=address)


def test_a_point_is_named_by_its_address_and_hears_there_unless_told_otherwise() -> None:
    """Two types at one address are one place."""
    config = OscConfig(host="h", port=1)
    point = OscPoint(address="/zone/heron-1/gain_(dB)")
    assert point_name(config, point) == point_name(config, OscPoint(address=point.address, type="i")) == point.address
    assert point.hears == point.address
    assert OscPoint(address="/a", report="/b").hears == "/b"


@pytest.mark.parametrize(
    ("value", "kind", "argument"),
    [
        (-12.5, "f", -12.5),
        (3, "f", 3.0),
        (True, "f", 1.0),
        (2.5, "i", 3),
        (-2.5, "i", -2),
        (True, "i", 1),
        (True, "bool", True),
        ("laptop", "s", "laptop"),
    ],
)
def test_a_value_becomes_an_argument_of_the_points_type(value: Value, kind: str, argument: Argument) -> None:
    """Integers are rounded half up; the Python type decides the tag."""
    found = to_argument(value, kind)
    assert found == argument
    assert type(found) is type(argument)


@pytest.mark.parametrize(
    ("value", "kind"),
    [
        (None, "f"),
        ("loud", "f"),
        (math.nan, "f"),
        (math.inf, "f"),
        (1e39, "f"),
        (math.nan, "i"),
        (2**31, "i"),
        (1, "bool"),
        (None, "bool"),
        (None, "s"),
        (1, "s"),
        ("a\0b", "s"),
    ],
)
def test_a_value_that_has_no_such_argument_is_an_error(value: Value, kind: str) -> None:
    """It is said, not sent as something else."""
    with pytest.raises(ValueError, match="cannot be sent"):
        to_argument(value, kind)


@pytest.mark.parametrize(
    ("argument", "kind", "value"),
    [
        (1, "f", 1.0),
        (0.5, "f", 0.5),
        (3.0, "i", 3),
        (1, "bool", True),
        (0.0, "bool", False),
        (True, "bool", True),
        ("a", "s", "a"),
    ],
)
def test_a_report_of_a_related_type_counts(argument: Argument, kind: str, value: Value) -> None:
    """Devices answer with the number type that they like."""
    found = from_argument(argument, kind)
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize(
    ("argument", "kind"),
    [
        ("1", "f"),
        (True, "f"),
        (None, "f"),
        (math.nan, "f"),
        (0.5, "i"),
        (math.inf, "i"),
        ("on", "bool"),
        (b"a", "s"),
        (1, "s"),
    ],
)
def test_a_report_of_another_type_means_nothing(argument: Argument, kind: str) -> None:
    """ValueError, never a guess."""
    with pytest.raises(ValueError, match="means nothing"):
        from_argument(argument, kind)
