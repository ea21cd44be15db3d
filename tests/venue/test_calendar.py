"""The sections ``calendar`` and ``webhooks``: what they resolve to, and what is told of mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.errors import VenueFault
from roomlink.venue.load import load
from tests.api.harness import HARBOUR, write_venue

SOUND = """
calendar:
  rooms: {Ballroom A: [heron], Ballroom AB: [heron, plover]}
  feeds: [{name: office, url: "https://calendar.example/hall.ics", every: 5min, zones: [tern]}]
webhooks:
  - {name: office, url: "https://office.example/hook", secret_file: secrets/office, events: [booking]}
"""


def test_what_is_not_written_is_filled_in(tmp_path: Path) -> None:
    """Whoever reads the data needs no defaults; lengths are seconds."""
    data = load(write_venue(tmp_path, HARBOUR + SOUND)).data
    assert data["calendar"] == {
        "rooms": {"Ballroom A": ["heron"], "Ballroom AB": ["heron", "plover"]},
        "feeds": [
            {
                "name": "office",
                "url": "https://calendar.example/hall.ics",
                "file": None,
                "every": 300.0,
                "timeout": 20.0,
                "zones": ["tern"],
                "accept_free": False,
                "gone": "cancel",
            }
        ],
    }
    assert data["webhooks"] == [
        {
            "name": "office",
            "url": "https://office.example/hook",
            "secret_file": "secrets/office",
            "events": ["booking"],
            "timeout": 15.0,
            "give_up": 86400.0,
        }
    ]


def test_a_venue_without_them_follows_and_tells_nobody(tmp_path: Path) -> None:
    """Both sections may be left out."""
    data = load(write_venue(tmp_path)).data
    assert (data["calendar"], data["webhooks"]) == ({"rooms": {}, "feeds": []}, [])


FEED = "calendar: {feeds: [{name: office, url: %s}]}"
HOOK = "{name: %s, url: 'https://o.example/', secret_file: s%s}"


@pytest.mark.parametrize(
    ("text", "key", "said"),
    [
        ("calendar: {rooms: {A: [heon]}}", "calendar.rooms.A[0]", "did you mean 'heron'"),
        ("calendar: {rooms: {A: []}}", "calendar.rooms.A", "no zone is listed"),
        ("calendar: {rooms: {Hall A: [heron], hall a: [tern]}}", "calendar.rooms", "differ only in capitals"),
        (FEED % "ftp://calendar.example/x", "calendar.feeds[0].url", "is not an address"),
        ("calendar: {feeds: [{name: office}]}", "calendar.feeds[0]", "neither url nor file"),
        (FEED % "'http://x/', file: a.ics", "calendar.feeds[0]", "both url and file"),
        (FEED % "'http://'", "calendar.feeds[0].url", "is not an address"),
        (FEED % "'http://[x/'", "calendar.feeds[0].url", "is not an address"),
        (FEED % "'http://x/', every: 5s", "calendar.feeds[0].every", "write at least 60s"),
        (FEED % "'http://x/', timeout: 5min", "calendar.feeds[0].timeout", "write a duration up to 60s"),
        (FEED % "'http://x/', gone: forget", "calendar.feeds[0].gone", "write one of cancel, keep"),
        (FEED % "'http://x/', zones: [no]", "calendar.feeds[0].zones[0]", "there is no zone named 'no'"),
        (FEED % "'http://x/'}, {name: office, url: 'http://y/'", "calendar.feeds[1].name", "office is there already"),
        (f"webhooks: [{HOOK % ('a', ', events: [light]')}]", "webhooks[0].events[0]", "write one of booking"),
        (f"webhooks: [{HOOK % ('a', ', events: []')}]", "webhooks[0].events", "it is told nothing"),
        (f"webhooks: [{HOOK % ('a', ', colour: red')}]", "webhooks[0].colour", "the keys here are name, url"),
        (f"webhooks: [{HOOK % ('a', '')}, {HOOK % ('a', '')}]", "webhooks[1].name", "a is there already"),
        ("webhooks: [{name: a, url: 'https://o.example/'}]", "webhooks[0]", "'secret_file' is missing"),
    ],
)
def test_each_mistake_is_told_with_what_would_be_right(tmp_path: Path, text: str, key: str, said: str) -> None:
    """Where it is, what is wrong, and what to write instead."""
    with pytest.raises(VenueFault) as fault:
        load(write_venue(tmp_path, f"{HARBOUR}\n{text}\n"))
    assert any(key in str(finding) and said in str(finding) for finding in fault.value.findings), fault.value
