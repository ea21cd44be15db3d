"""Events survive the journal's JSON without loss."""

from __future__ import annotations

import json

import pytest

from roomlink.core import access as ac
from roomlink.core import bookings as bk
from roomlink.core import evening_records as en
from roomlink.core import events as ev
from roomlink.core import lead_records as ld
from roomlink.core import lock_records as lk
from roomlink.core import travel_events as tr
from roomlink.core.divisions import Division, DivisionEnded, DivisionSet, UsedByHand
from roomlink.core.records import (
    Alarm,
    Arming,
    Check,
    Choice,
    Hold,
    Level,
    Link,
    Mask,
    Momentary,
    Motion,
    Override,
    Role,
    Switch,
    Wall,
)
from roomlink.testing import venues
from roomlink.testing.driver import through_json

ALL: list[ev.Event] = [
    ev.Configured(venues.row(2), "digest"),
    ev.ControlSet("a", "volume", Level(-30.0, -10.0, 1000.25, 2.0, "a-panel")),
    ev.ControlSet("a", "program", Choice(None, "b/laptop", 1000.3, 1000.3, "a-panel")),
    ev.ControlSet("a", "mute", Switch(True, 1000.0, False, 1010.0, "kim")),
    ev.ControlSet("a", "talkback", Momentary(True, "kim")),
    ev.ControlDropped("a", "volume"),
    ev.LinkSet("a-panel", "b", Link(("hand", "combining"), 1000.0, ("volume",), (("volume", 3.5),)), True),
    ev.LinkEnded("a-panel", "b", "unlinked by hand"),
    ev.HandSet("a-panel", "volume", -10.0),
    ev.HandSet("a-panel", "volume", None),
    ev.HoldBegan(
        "h", Hold("finger", None, "volume", "raise", ("a", "b"), 1000.0, 1001.0, (("a", -3.0), ("b", 4.0)), "kim")
    ),
    ev.HoldEnded("h", ("a",), "released"),
    ev.WallSet(
        "a-b",
        Wall(
            "open",
            True,
            "pinned",
            "closed",
            1002.0,
            "open",
            (True, None),
            1060.0,
            1600.0,
            True,
            "kim",
            "http",
            ("w", "device"),
        ),
    ),
    ev.WallDropped("a-b"),
    ev.Regrouped((("a", "b"), ("c",))),
    ev.ZoneDropped("a"),
    ev.RoleSet("a-panel", Role(False, "b-panel")),
    ev.ControllerDropped("a-panel"),
    ev.Remembered("a", {"volume": -30.0, "program": None, "mute": True}, 1000.0, ("b1", "19700101T012320Z")),
    DivisionSet("a-b", Division("apart", 1000.0, "kim")),
    DivisionEnded("a-b", "the wall closed"),
    UsedByHand(("a", "b"), 1000.0),
    ev.OverflowSet("graduation", ("a", "c")),
    ev.SceneSaved(
        "dinner", {"name": "", "type": None, "zone": None, "values": {}, "zones": {"a": {"volume": -3.0}}}, "e"
    ),
    ev.SceneSaved("dinner", None, ""),
    ev.ControlSet("a", "screen", Motion("open", 1000.0, 1030.0, "open", 0.0, None, None, "kim")),
    ev.OverrideSet("fire", Override(1000.0, "its input says so")),
    ev.OverrideCleared("fire"),
    ev.Masked("a", "mute", Mask("fire", True)),
    ev.Unmasked("a", "mute"),
    ev.Armed("screen", Arming("A. Technician", 1000.0, "digest", "limits checked")),
    ev.Disarmed("screen", "the binding changed"),
    ev.Checked("wall/a-b/open", Check("pass", "A. Technician", 1.0, "digest", 2.5, "s", "both ends")),
    ev.AlarmRaised("wall-late/a-b", 1000.0, "a-b has been moving for too long"),
    ev.AlarmCleared("wall-late/a-b"),
    ev.AlarmSet("wall-late/a-b", "shelve", Alarm(1000.0, "a-b", "shelved", by="ada", until=2000.0, raises=(1000.0,))),
    bk.BookingSet(
        "b1",
        bk.Booking(
            "u@v",
            "Gala",
            ("a", "b"),
            5000.0,
            9000.0,
            600.0,
            300.0,
            120,
            "dinner",
            "tentative",
            False,
            True,
            "Kim",
            "FREQ=DAILY",
            ("19700102T012320Z",),
            ("19700103T012320Z",),
            90000.0,
            3,
            1000.0,
            1001.0,
        ),
    ),
    bk.OccurrencesSet(
        "b1",
        (
            bk.Occurrence("19700101T012320Z", 5000.0, 9000.0, 4400.0, 9300.0, ("a", "b"), 120, "dinner"),
            bk.Occurrence(
                "19700102T012320Z",
                5000.0,
                9000.0,
                4400.0,
                9300.0,
                ("a",),
                None,
                None,
                "cancelled",
                True,
                True,
                "Tea",
                True,
                "over",
            ),
        ),
    ),
    bk.OccurrencesDropped("b1", ("19700101T012320Z",)),
    bk.PhaseSet("b1", "19700101T012320Z", "set-up", ("a", "b")),
    bk.BookingDropped("b1"),
    bk.WallRequested("a-b", bk.WallRequest("open", "b1", "19700101T012320Z", 4400.0, 5000.0)),
    bk.WallRequestEnded("a-b"),
    bk.RoutineDeferred("all-off", ("a",)),
    bk.MoveTicked("a-b", "19700101T012320Z", bk.Tick("open", 5000.0, "kim", 4400.0, "stiff lock")),
    bk.TickDropped("a-b", "19700101T012320Z"),
    ac.PersonSet("kim", ac.Person("manage", "$argon2id$x", 1000.0, "alex")),
    ac.PersonRemoved("kim"),
    ac.SessionSet("d1", ac.Session("kim", 1000.0, 1001.0, 2000.0, "192.0.2.7")),
    ac.SessionEnded("d1", "kim", "signed out"),
    ac.KeySet("a-panel", ac.Key("panel", "operate", "d2", 1000.0, "alex", "a-panel", None, 1001.0, "192.0.2.8")),
    ac.KeyRemoved("a-panel", "taken back by alex"),
    ac.SignInRefused("password", "kim", "192.0.2.7", 3),
    tr.OneWaySet("balcony", tr.OneWay("a", "b", ("sound",), 1000.0, "alex", ("b1", "19700101T012320Z"))),
    tr.OneWayEnded("balcony", "ended by alex"),
    tr.MicrophoneAssigned("handheld", "b"),
    lk.LockSet("quiet", lk.Lock("a", None, ("volume",), "kim", 1000.0, 2000.0, "$argon2id$x", "rehearsal")),
    lk.LockEnded("quiet", "its time was over"),
    ld.LeadSet(("a", "b"), ld.Lead("b-panel", "taken", 1000.0, "kim")),
    ld.LeadEnded(("a", "b")),
    ld.PanelSet("a-panel", 1000.0),
    en.EndingSet("b1", "19700101T012320Z", en.Ending(("a", "b"), 9000.0, 8400.0)),
    en.EndingDropped("b1", "19700101T012320Z"),
    en.ClosingSet("all-off", "a", en.Closing(2000.0, 1000.0, "used at 00:16", 1700.0)),
    en.ClosingEnded("all-off", "a", "it runs"),
    en.PresenceSet("a", 1000.0),
    en.PagingStarted("desk", en.Paging(1000.0, 1060.0, "kim")),
    en.PagingEnded("desk", "it was let go"),
    en.WallMarked("a-b", en.WallMark("bent", "kim", 1000.0)),
    en.WallUnmarked("a-b"),
    en.PassDoorSet("a-b", True),
    ev.Told("office", 7, ((6, 0, "no answer"),)),
    ev.Answered("key", "digest", {"seq": 7, "zones": ["a"]}),
    ev.Noticed("zone c is no longer configured"),
]


def test_every_type_of_event_is_here() -> None:
    """So that a new one is not forgotten."""
    assert {type(e) for e in ALL} == set(ev.EVENT_TYPES.values())


@pytest.mark.parametrize("event", ALL, ids=lambda e: type(e).__name__)
def test_an_event_comes_back_equal_and_of_the_same_types(event: ev.Event) -> None:
    """Tuples come back as tuples, records as records."""
    back = through_json(event)
    assert back == event
    assert repr(back) == repr(event)


def test_an_entry_comes_back_equal() -> None:
    """With all its events, in order."""
    entry = ev.Entry(7, 1000.5, "a-panel", "panel", {"command": "Act", "value": -3}, tuple(ALL))
    assert ev.decode_entry(json.loads(json.dumps(ev.encode_entry(entry)))) == entry


@pytest.mark.parametrize("data", [{}, {"type": "miracle"}, {"type": "wall"}, {"type": "noticed", "words": 3}])
def test_anything_else_is_no_event(data: dict[str, object]) -> None:
    """A damaged journal is noticed."""
    with pytest.raises((KeyError, TypeError)):
        ev.decode(data)
