"""``simulation.clients``: the picture that a panel keeps, and the wire to it."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from roomlink.runtime.framing import framed
from roomlink.simulation.clients import Client, merge, messages

FACE: dict[str, Any] = {"links": [1], "lead": False, "controls": {"volume": {"value": 1}, "mute": {"value": True}}}


@pytest.mark.parametrize("size", [2, 125, 126, 70_000])
def test_messages_come_out_of_the_frames_as_they_went_in(size: int) -> None:
    """Short, long and very long ones (RFC 6455 §5.2), two in one piece."""
    sent = {"type": "change", "text": "x" * size}
    assert list(messages(framed((orjson.dumps(sent), b"{}")))) == [sent, {}]


def test_a_picture_takes_what_a_change_names_and_keeps_the_rest() -> None:
    """Faces and zones member by member, walls one by one, groups and the like whole."""
    picture: dict[str, Any] = {
        "controller": FACE,
        "zones": {"a": {"linked_by": []}},
        "partitions": {"a-b": 1, "b-c": 2},
        "groups": [["a"], ["b"]],
    }
    change = {
        "controller": {"lead": True, "controls": {"mute": {"value": False}}},
        "zones": {"a": {"linked_by": ["a-panel"], "controls": {"mute": 1}}},
        "partitions": {"a-b": 3},
        "groups": [["a", "b"]],
    }
    merge(picture, change)
    assert picture["controller"]["lead"] is True
    assert picture["controller"]["controls"] == {"volume": {"value": 1}, "mute": {"value": False}}
    assert picture["zones"] == {"a": {"linked_by": ["a-panel"], "controls": {"mute": 1}}}
    assert picture["partitions"] == {"a-b": 3, "b-c": 2}
    assert picture["groups"] == [["a", "b"]]


def test_with_the_links_come_all_controls() -> None:
    """What only a zone had that is linked no more is gone."""
    picture: dict[str, Any] = {"controller": {**FACE}, "partitions": {}}
    merge(picture, {"controller": {"links": [], "controls": {"mute": {"value": True}}}})
    assert picture["controller"]["controls"] == {"mute": {"value": True}}


def test_a_resumed_welcome_leaves_the_picture() -> None:
    """And any other makes a new one; a client knows how far it was told, which the change that follows says."""
    client = Client("tab-1", "a-panel")
    head = {"type": "welcome", "at": "", "journal": "j", "holder": "socket-1"}
    client.hear({**head, "seq": 4, "resumed": False, "groups": [["a"]]})
    client.hear({**head, "seq": 7, "resumed": True})
    assert (client.picture, client.seq, client.journal, client.holder) == ({"groups": [["a"]]}, 4, "j", "socket-1")


def test_what_the_service_let_go_of_is_held_no_more() -> None:
    """The client is told of it by the control."""
    client = Client("tab-1", "a-panel", holds={"volume", "talkback"})
    client.hear({"type": "let-go", "control": "volume", "zones": ["a"], "why": "unlinked by hand"})
    assert client.holds == {"talkback"}
