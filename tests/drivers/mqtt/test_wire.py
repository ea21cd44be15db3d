"""Topics and payloads of the MQTT driver."""

from __future__ import annotations

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from roomlink.drivers.mqtt import wire
from roomlink.drivers.port import Value, WireFault

levels = st.lists(st.sampled_from(["", "a", "b", "$SYS", "hall"]), min_size=1, max_size=5)
wild_levels = st.lists(st.sampled_from(["", "a", "b", "+", "$SYS", "hall"]), min_size=1, max_size=5)


@given(wild_levels, st.booleans(), levels)
def test_filters_match_as_in_the_reference_library(wanted: list[str], tail: bool, name: list[str]) -> None:
    """For any valid filter and topic, paho says the same."""
    pattern, topic = "/".join(wanted) + ("/#" if tail else ""), "/".join(name)
    if pattern and topic and not topic.startswith("$"):
        assert wire.matches(pattern, topic) == topic_matches_sub(pattern, topic)


@pytest.mark.parametrize("text", ["", "a/+", "a/#", "$SYS/x", "a\0b", "a" * 65536])
def test_a_topic_to_publish_to_is_one_topic(text: str) -> None:
    """No wildcards, not the broker's own, within the bounds."""
    with pytest.raises(ValueError, match="topic"):
        wire.topic(text)


@pytest.mark.parametrize("text", ["", "a/#/b", "a#", "a/b+", "+a/b", "##"])
def test_a_filter_has_its_wildcards_where_they_may_be(text: str) -> None:
    """# alone at the end, + alone in its level."""
    with pytest.raises(ValueError, match=r"stands alone|one character"):
        wire.topic_filter(text)


@pytest.mark.parametrize(
    ("value", "text"),
    [(True, b"on"), (False, b"off"), (None, b"none"), (35, b"35"), (35.0, b"35"), (-12.25, b"-12.25"), ("rgb", b"rgb")],
)
def test_text_comes_back_as_it_went(value: Value, text: bytes) -> None:
    """Words for on, off and none; plain numbers."""
    assert wire.encode(value, "text", None) == text
    back = wire.decode(text, "text", None)
    assert back == value
    assert isinstance(back, bool) == isinstance(value, bool)


@given(st.one_of(st.none(), st.booleans(), st.integers(-(10**6), 10**6), st.floats(-1e6, 1e6), st.text(max_size=50)))
def test_json_comes_back_as_it_went(value: Value) -> None:
    """Bare, and as a member of an object."""
    for member in (None, "level"):
        back = wire.decode(wire.encode(value, "json", member), "json", member)
        assert back == value
        assert isinstance(back, bool) == isinstance(value, bool)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), ""])
def test_what_no_payload_can_say_is_refused(value: Value) -> None:
    """An empty payload would erase the retained message."""
    with pytest.raises(ValueError, match=r"payload|number"):
        wire.encode(value, "text", None)


@pytest.mark.parametrize(
    ("payload", "form", "member"),
    [
        (b"", "text", None),
        (b"\xff\x00", "text", None),
        (b"x" * 20_000, "text", None),
        (b"a\nb", "text", None),
        (b"1e999", "text", None),
        (b"{", "json", None),
        (b"[" * 5000, "json", None),
        (b"{}", "json", "level"),
        (b"5", "json", "level"),
        (b"[1]", "json", None),
        (b"NaN", "json", None),
        (b'{"level":{}}', "json", "level"),
    ],
)
def test_a_payload_that_means_nothing_is_a_wire_fault(payload: bytes, form: str, member: str | None) -> None:
    """Whatever somebody publishes there."""
    with pytest.raises(WireFault):
        wire.decode(payload, form, member)


@given(st.binary(max_size=300), st.sampled_from(["text", "json"]), st.sampled_from([None, "level"]))
def test_any_bytes_give_a_value_or_a_wire_fault(payload: bytes, form: str, member: str | None) -> None:
    """Never another exception, and never anything but a plain value."""
    try:
        value = wire.decode(payload, form, member if form == "json" else None)
    except WireFault:
        return
    orjson.dumps(value)
    assert value is None or isinstance(value, bool | int | float | str)
