"""Requests are filled with values of their own type, and answers give one value or a plain fault."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomlink.drivers.http import wire
from roomlink.drivers.port import Value, WireFault

VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**53) + 1, 2**53 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=50),
)


@pytest.mark.parametrize(
    ("template", "value", "body"),
    [
        ("{value}", -20.5, -20.5),
        ({"level": "{value}", "unit": "dB"}, -20.5, {"level": -20.5, "unit": "dB"}),
        ({"muted": "{value}"}, True, {"muted": True}),
        ({"source": "{value}"}, None, {"source": None}),
        ({"command": "VOL {value} dB"}, 3.0, {"command": "VOL 3 dB"}),
        ([["{value}", 1], {"a": [True, None]}], "x", [["x", 1], {"a": [True, None]}]),
        ({"{value}": "{values}"}, 1, {"{value}": "{values}"}),
        ({"text": "{value}"}, "{value}", {"text": "{value}"}),
    ],
)
def test_a_member_that_is_the_place_becomes_the_value(template: Any, value: Value, body: Any) -> None:
    """With its own type; within a longer text it is text."""
    assert json.loads(wire.body(template, value)) == body


@given(VALUES)
def test_any_value_arrives_in_body_and_query(value: Value) -> None:
    """Whatever characters a text has, it stays one value."""
    assert json.loads(wire.body({"v": "{value}"}, value)) == {"v": value}
    url = urlsplit(wire.path("/a?v={value}&w=1", value))
    found = parse_qs(url.query, keep_blank_values=True)
    assert found == {"v": [wire.plain(value)], "w": ["1"]}


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**60, "x" * 1001, "\ud800"])
def test_what_json_cannot_hold_is_refused(value: Value) -> None:
    """Instead of becoming something else on the way."""
    with pytest.raises(WireFault):
        wire.body("{value}", value)
    with pytest.raises(WireFault):
        wire.path("/{value}", value)


@pytest.mark.parametrize(
    ("answer", "way", "value"),
    [
        (b'{"a": {"b": [1, -2.5]}}', ("a", "b", "1"), -2.5),
        (b"true", (), True),
        (b'"on"', (), "on"),
        (b'{"a": null}', ("a",), None),
        (b'[{"0": 7}]', ("0", "0"), 7),
    ],
)
def test_the_value_at_a_way_is_read(answer: bytes, way: tuple[str, ...], value: Value) -> None:
    """Members by name, entries by index."""
    assert wire.member(answer, way) == value


@pytest.mark.parametrize(
    ("answer", "way", "says"),
    [
        (b"", (), "not JSON"),
        (b"NaN", (), "not JSON"),
        (b"[" * 100_000, (), "not JSON"),
        (b" " * (wire.ANSWER_BYTES_MAX + 1), (), "bytes"),
        (b'{"a": {}}', ("a", "b"), "'a.b'"),
        (b'{"a": {}}', ("a",), "single value"),
        (b"[1]", ("1",), "'1'"),
        (b"[1]", ("-1",), "'-1'"),
        (b"[1]", ("²",), "'²'"),
        (b"3", ("a",), "'a'"),
    ],
)
def test_what_is_not_there_is_a_fault(answer: bytes, way: tuple[str, ...], says: str) -> None:
    """It says how far the way went."""
    with pytest.raises(WireFault, match=says):
        wire.member(answer, way)


@given(
    st.one_of(st.binary(max_size=100), st.text('[]{}",:0a1 ', max_size=60).map(str.encode)),
    st.lists(st.text(max_size=3)),
)
def test_no_answer_raises_anything_else(answer: bytes, way: list[str]) -> None:
    """Whatever a device sends."""
    try:
        value = wire.member(answer, tuple(way))
    except WireFault:
        return
    assert value is None or isinstance(value, bool | int | float | str)


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        (None, 0.5),
        ("1", 1.0),
        ("0", 0.0),
        ("3600", 2.0),
        ("Wed, 21 Oct 2026 07:28:00 GMT", 0.5),
        ("-1", 0.5),
        ("9" * 99, 0.5),
    ],
)
def test_a_device_may_ask_for_a_little_time(header: str | None, seconds: float) -> None:
    """Seconds of Retry-After, bounded: a later value must not wait for an older one."""
    assert wire.again_after(header) == seconds


def test_a_status_is_told_with_its_name() -> None:
    """And without one, as the number."""
    assert wire.said(404) == "404 Not Found"
    assert wire.said(299) == "299"
