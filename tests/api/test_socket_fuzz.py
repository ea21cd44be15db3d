"""Whatever a panel sends: it is answered with `ok` or `problem`, and the socket stays, or says `bye` first."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed

from roomlink.api import models
from tests.api.harness import WITHIN_S, Served, dial, write_venue

LEAVES = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False), st.text(max_size=20))
KEYS = st.text(max_size=8)
JSON = st.recursive(
    LEAVES, lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=4))
)
NAMES = ["heron", "plover", "volume", "program", "mute", "talkback", "laptop", "dinner", "nowhere", ""]
DOS = ["set", "press", "release", "raise", "lower", "stop", "open", "align", "leap"]
MEMBERS: dict[str, st.SearchStrategy[Any]] = {
    "type": st.sampled_from(sorted(models.MESSAGES)),
    "control": st.sampled_from(NAMES),
    "zone": st.sampled_from(NAMES),
    "scene": st.sampled_from(NAMES),
    "do": st.sampled_from(DOS),
    "value": LEAVES,
    "over": LEAVES,
    "for": LEAVES,
}
NEAR = st.fixed_dictionaries(
    {"type": MEMBERS["type"]},
    optional={name: st.one_of(values, values, JSON) for name, values in MEMBERS.items() if name != "type"},
)
"""Messages that are nearly, or wholly, what a panel sends."""
MESSAGES = st.one_of(NEAR, NEAR, JSON).map(json.dumps) | st.text(max_size=40)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One service for all examples: what one leaves behind, the next has to live with."""
    served = Served(write_venue(tmp_path_factory.mktemp("harbour")), None, "--log", "error")
    yield served
    served.stop()


async def answers(served: Served, path: str, texts: list[str]) -> None:
    """Send them all, then something that is answered for sure, and wait for as many answers, in whatever order."""
    wanted = sum(map(_is_answered, texts)) + 1
    async with dial(served.url, path) as socket:
        for text in [*texts, '{"type": "fence"}']:
            await socket.send(text)
        kinds: list[str] = []
        try:
            while sum(kind in ("ok", "problem") for kind in kinds) < wanted:
                message = json.loads(await asyncio.wait_for(socket.recv(), WITHIN_S))
                kinds.append(message["type"])
                assert kinds[-1] != "problem" or 400 <= message["problem"]["status"] < 500, message
        except ConnectionClosed:
            assert kinds[-1] == "bye"


def _is_answered(text: str) -> bool:
    """Only a sound sign of life gets no answer."""
    try:
        data = json.loads(text)
        models.HoldingMessage.model_validate(data)
    except ValueError:
        return True
    return bool(data.get("type") != "holding")


@pytest.mark.parametrize("path", ["/panels/heron-wall", "/watch"])
def test_every_message_is_answered(served: Served, path: str) -> None:
    """With what is described and with nothing else; nothing of it is a fault of ours."""

    @settings(max_examples=40, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(st.lists(MESSAGES, min_size=1, max_size=8))
    def say(texts: list[str]) -> None:
        asyncio.run(answers(served, path, texts))

    say()
    assert not served.log
