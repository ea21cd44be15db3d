"""What webhooks are told, made of entries: one message an event, stable ids, nothing private."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from roomlink.core import events as ev
from roomlink.core.apply import apply
from roomlink.core.bookings import Wish
from roomlink.core.commands import Actor, CancelBooking, ChangeBooking, CreateBooking
from roomlink.core.decide import decide
from roomlink.core.records import Alarm, Wall
from roomlink.core.state import State
from roomlink.diary.webhooks import (
    DATES_TOLD_MAX,
    TOLERANCE_S,
    Message,
    Teller,
    key_of_secret,
    message_at,
    signature,
    verified,
)
from tests.diary.desk import harbour, stamp

KEY = bytes(24)
ALL = ("booking", "wall", "group", "alarm")


def entry(*events: ev.Event, seq: int = 7, at: float = 1000.5) -> ev.Entry:
    return ev.Entry(seq, at, "x", "http", {}, events)


def told(*events: ev.Event, families: tuple[str, ...] = ALL) -> list[Message]:
    return list(Teller(families).messages(entry(*events)))


def booked(folder: Path, **members: Any) -> tuple[ev.Event, ...]:
    """The events of a booking."""
    start = stamp("19970902T130000Z")
    usual = {"uid": "a@example.test", "title": "Choir", "start": start, "end": start + 3600.0, "zones": ("heron",)}
    desk = harbour(folder)
    return decide(desk.state, CreateBooking(Actor("office"), "choir", Wish(**{**usual, **members})), desk.now).events


def test_a_booking_is_told_with_its_dates(tmp_path: Path) -> None:
    """First what it is, then when it is, set-up and clear-down included."""
    created, dates = told(*booked(tmp_path, set_up=1800.0))
    data = created.data(State())
    assert (created.type, data["title"], data["zones"]) == ("booking.created", "Choir", ["heron"])
    assert dates.type == "booking.dates"
    assert dates.data(State())["dates"][0]["from"] == "1997-09-02T12:30:00.000Z"


def test_a_cancelled_booking_is_told_as_that(tmp_path: Path) -> None:
    """Its type says that it is off."""
    desk = harbour(tmp_path)
    for event in booked(tmp_path):
        apply(desk.state, event)
    events = decide(desk.state, CancelBooking(Actor("office"), "choir", ("*",)), desk.now).events
    assert told(*events)[0].type == "booking.cancelled"


def test_what_is_private_is_not_told(tmp_path: Path) -> None:
    """A private booking is a time in zones to everybody."""
    bodies = [m.body(State()) for m in told(*booked(tmp_path, private=True, title="A secret wedding", attendance=77))]
    assert bodies
    assert not any(b"secret" in body or b"77" in body for body in bodies)


def test_what_became_private_before_it_was_sent_is_not_told(tmp_path: Path) -> None:
    """A message says what may be told when it is sent, not when it happened; its id stays."""
    events = booked(tmp_path, title="A secret wedding", organiser="Kim", attendance=77)
    messages, desk = told(*events), harbour(tmp_path)
    for event in events:
        apply(desk.state, event)
    assert b"secret" in messages[0].body(desk.state)
    wish = Wish("a@example.test", "A secret wedding", stamp("19970902T130000Z"), stamp("19970902T140000Z"), ("heron",))
    private = ChangeBooking(Actor("office"), "choir", replace(wish, private=True), ("*",))
    for event in decide(desk.state, private, desk.now).events:
        apply(desk.state, event)
    bodies = [message.body(desk.state) for message in messages]
    assert not any(b"secret" in body or b"Kim" in body or b"77" in body for body in bodies)
    assert b'"title":"in use"' in bodies[0]


def test_a_long_series_is_cut_and_counted(tmp_path: Path) -> None:
    """A message stays of a size that can be sent; how many dates there are is said."""
    start = stamp("19970902T130000Z")
    starts = tuple(start + 86400.0 * n for n in range(DATES_TOLD_MAX + 20))
    dates = told(*booked(tmp_path, starts=starts, rrule="FREQ=DAILY;COUNT=120"))[1].data(State())
    assert len(dates["dates"]) == DATES_TOLD_MAX
    assert dates["count"] == DATES_TOLD_MAX + 20


def test_a_wall_is_told_when_something_counts() -> None:
    """Reports that do not count yet are no news; the first of each wall always is."""
    teller = Teller(ALL)
    steps = [Wall("closed"), Wall("closed", report="open", due=2.0), Wall("open", True), Wall("open", True)]
    found = [len(list(teller.messages(entry(ev.WallSet("a", wall))))) for wall in steps]
    assert found == [1, 0, 1, 0]


def test_groups_and_alarms_are_told() -> None:
    """Each with what happened, and an alarm with since when."""
    group, alarm, clear = told(ev.Regrouped((("a", "b"),)), ev.AlarmRaised("x", 0.0, "It fails"), ev.AlarmCleared("x"))
    assert (group.type, group.data(State())) == ("group.changed", {"groups": (("a", "b"),)})
    assert (alarm.type, alarm.data(State())["since"]) == ("alarm.raised", "1970-01-01T00:00:00.000Z")
    assert clear.type == "alarm.cleared"


def test_an_alarm_is_told_in_all_its_states_but_not_what_people_want_to_hear_nothing_of() -> None:
    """While it is shelved its coming and going is no news; nor is each change of one that chatters."""
    shelved = Alarm(0.0, "It fails", "shelved", by="ada", why="known", until=900.0)
    steps = [
        ev.AlarmSet("x", "raise", Alarm(0.0, "It fails")),
        ev.AlarmSet("x", "shelve", shelved),
        ev.AlarmSet("x", "clear", replace(shelved, stands=False)),
        ev.AlarmSet("x", "raise", shelved),
        ev.AlarmSet("x", "unshelve", Alarm(0.0, "It fails")),
        ev.AlarmSet("x", "toggle", Alarm(0.0, "It fails", real=False)),
        ev.AlarmSet("x", "acknowledge", Alarm(0.0, "It fails", "acknowledged", by="ada")),
    ]
    found = told(*steps)
    assert [m.type for m in found] == ["alarm.raised", "alarm.shelved", "alarm.unshelved", "alarm.acknowledged"]
    data = found[1].data(State())
    assert (data["state"], data["by"], data["until"]) == ("shelved", "ada", "1970-01-01T00:15:00.000Z")


def test_families_that_are_not_wanted_are_left_out() -> None:
    """And an event that nobody is told of makes no message; ids do not depend on what is wanted."""
    events = (ev.Noticed("x"), ev.AlarmCleared("x"), ev.Regrouped(()))
    everything, some = told(*events), told(*events, families=("group",))
    assert [m.type for m in everything] == ["alarm.cleared", "group.changed"]
    assert some == everything[1:]


def test_an_id_is_the_same_each_time_and_another_after_a_restore() -> None:
    """Made of position, place and stamp: a restored journal has other entries at the same positions."""
    events = (ev.Noticed("x"), ev.AlarmCleared("x"))
    (first,) = Teller(ALL).messages(entry(*events))
    assert first.id("hall") == "msg_hall_7_1_1000500"
    assert message_at(entry(*events), 1) == first
    (later,) = Teller(ALL).messages(entry(*events, at=2000.0))
    assert later.id("hall") != first.id("hall")
    assert message_at(entry(*events), 0) is None
    assert message_at(entry(*events), 9) is None


def test_a_body_says_type_time_and_data() -> None:
    """As Standard Webhooks proposes; with the venue and the position, to look further."""
    (message,) = told(ev.AlarmCleared("x"))
    assert json.loads(message.body(State())) == {
        "type": "alarm.cleared",
        "timestamp": "1970-01-01T00:16:40.500Z",
        "data": {"venue": "", "seq": 7, "alarm": "x"},
    }


def test_a_message_that_was_changed_or_is_old_is_not_verified() -> None:
    """Body, id, time and key all count; several signatures may be given while a secret is changed."""
    good = signature(KEY, "msg_1", 1000, b"{}")
    assert verified(KEY, "msg_1", "1000", f"v1,AAAA {good}", b"{}", 1000.0 + TOLERANCE_S)
    assert not verified(KEY, "msg_1", "1000", good, b"{ }", 1000.0)
    assert not verified(KEY, "msg_2", "1000", good, b"{}", 1000.0)
    assert not verified(b"x" * 24, "msg_1", "1000", good, b"{}", 1000.0)
    assert not verified(KEY, "msg_1", "1000", good, b"{}", 1001.0 + TOLERANCE_S)
    assert not verified(KEY, "msg_1", "soon", good, b"{}", 1000.0)


@pytest.mark.parametrize("secret", ["", "whsec_", "whsec_***", "whsec_" + "A" * 16, "whsec_" + "A" * 400])
def test_a_secret_that_is_none_is_refused_without_showing_it(secret: str) -> None:
    """24 to 64 bytes in base64; the error never holds any of it."""
    with pytest.raises(ValueError, match="the secret") as error:
        key_of_secret(secret)
    assert "***" not in str(error.value)
    assert "AAAA" not in str(error.value)
