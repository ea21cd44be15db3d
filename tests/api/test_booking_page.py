"""The calls of ``deploy/booking.md``, carried out one after the other against a service."""

from __future__ import annotations

import re
import shlex
from datetime import UTC, datetime
from pathlib import Path
from string import Template
from typing import Any
from zoneinfo import ZoneInfo

import httpx

from roomlink.testing.clock import VirtualClock
from tests.api.harness import Running

PAGE = Path(__file__).parents[2] / "deploy" / "booking.md"
CALLS = re.findall(r"```sh\n(curl .*?)\n```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


async def call(service: Running, text: str, **names: str) -> Any:
    """What a line with curl does, for the options that the page uses."""
    words = shlex.split(Template(text).substitute(HALL=service.url, **names))[1:]
    method, url, headers, body = "GET", "", {}, None
    while words:
        word = words.pop(0)
        if word == "-X":
            method = words.pop(0)
        elif word == "-H":
            name, _, value = words.pop(0).partition(": ")
            headers[name] = value
        elif word == "-d":
            body = words.pop(0)
        else:
            url = word
    answer: httpx.Response = await service.http.request(method, url, headers=headers, content=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


async def test_five_calls_lead_from_nothing_to_a_room_that_is_ready(service: Running, clock: VirtualClock) -> None:
    """Free, booked, its walls listed, moved: then the zones are one, in use, with their scene."""
    assert len(CALLS) == 5
    hour = 3600.0
    start, end = (
        datetime.fromtimestamp(clock.stamp() + after, UTC).strftime("%Y-%m-%dT%H:%M:%SZ") for after in (hour, 3 * hour)
    )
    free, book, turns, moved, zone = CALLS
    names = {"START": start, "END": end}
    assert not (await call(service, free, **names))["zones"]["heron"]["busy"]
    booking = (await call(service, book, **names))["booking"]
    assert (await call(service, book, **names))["booking"] == booking
    await service.advance(hour / 2 + 1)
    day = datetime.fromtimestamp(clock.stamp() + hour / 2, ZoneInfo("America/Halifax")).date().isoformat()
    (turn,) = (await call(service, turns, DAY=day))["turns"]
    assert turn["booking"] == booking
    move = next(move for move in turn["moves"] if move["partition"] == "heron-plover")
    assert (move["to"], move["met"], move["not_after"][:19]) == ("open", False, start[:19])
    await call(service, moved)
    await service.advance(3.0)
    heron = await call(service, zone)
    assert heron["group"] == ["heron", "plover"]
    assert (heron["in_use"]["booking"], heron["in_use"]["phase"]) == (booking, "set-up")
    assert (heron["controls"]["volume"]["value"], heron["controls"]["program"]["value"]) == (-38.0, "laptop")
