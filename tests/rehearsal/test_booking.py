"""``booking``: bookings in a rehearsal, and what a booking does in every arrangement of the walls."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from roomlink.core.bookings import Wish
from roomlink.core.commands import Actor, CancelBooking, CreateBooking
from roomlink.core.spec import from_data
from roomlink.drivers.registry import Registry
from roomlink.errors import VenueFault
from roomlink.rehearsal.circumstances import moved
from roomlink.rehearsal.scenario import load_scenario
from roomlink.rehearsal.steps import NOBODY, Do
from roomlink.rehearsal.trial import Trial
from roomlink.runtime.device_rules import DriverRules
from roomlink.testing import venues
from roomlink.venue.load import load

HALIFAX = ZoneInfo("America/Halifax")
SPEC = from_data(venues.row(3) | {"venue": {"id": "trial", "name": "Trial", "timezone": "America/Halifax"}})
NOON = datetime(2026, 3, 14, 12, tzinfo=HALIFAX).timestamp()
HOUR_S = 3600.0
CONFIG = Path(__file__).parents[2] / "config"


def wish(start: Any, end: Any, **more: Any) -> Wish:
    command = Do("book", {"book": "gala", "zones": ["a", "b"], "start": start, "end": end, **more}).command(SPEC, NOON)
    assert isinstance(command, CreateBooking)
    assert (command.booking, command.by.who) == ("gala", NOBODY)
    return command.wish


def test_a_booking_has_clock_times_of_its_day_or_times_from_now() -> None:
    """An end before its start is of the next day; what is not given is the venue's."""
    one = wish("18:00", "22:30", set_up=1800.0, attendance=40, scene="dinner", private=True)
    assert (one.start, one.end) == (NOON + 6 * HOUR_S, NOON + 10.5 * HOUR_S)
    assert (one.zones, one.set_up, one.clear_down, one.attendance) == (("a", "b"), 1800.0, None, 40)
    assert (one.scene, one.private) == ("dinner", True)
    assert wish("20:00", "01:15").end == NOON + 13.25 * HOUR_S
    later = wish(600.0, 4200.0)
    assert (later.start, later.end) == (NOON + 600.0, NOON + 4200.0)


def test_the_day_is_the_venues_also_when_the_clocks_change() -> None:
    """20:00 on the evening before the change until 04:00 after it is seven hours."""
    eve = datetime(2026, 3, 7, 12, tzinfo=HALIFAX).timestamp()
    command = Do("book", {"book": "ball", "zones": ["a"], "start": "20:00", "end": "04:00"}).command(SPEC, eve)
    assert isinstance(command, CreateBooking)
    assert command.wish.end - command.wish.start == 7 * HOUR_S


def test_a_booking_is_cancelled_whatever_its_version() -> None:
    """A rehearsal knows what it does."""
    command = Do("cancel", {"cancel": "gala"}).command(SPEC, NOON)
    assert command == CancelBooking(Actor(NOBODY, "http"), "gala", ("*",))


def test_it_is_told_in_words() -> None:
    """As every verb is."""
    do = Do("book", {"book": "gala", "zones": ["a", "b"], "start": "18:00", "end": 4200.0, "set_up": 600.0})
    assert str(do) == "book a + b for gala, 18:00 to 4200 s, set_up 600 s"


def test_what_cannot_be_a_booking_is_told_with_its_place(tmp_path: Path) -> None:
    """Times, people, and zones that are not there."""
    path = tmp_path / "evening.yaml"
    path.write_text("steps:\n  - {do: {book: gala, zones: [a, q], start: 25:00, end: 22:00, attendance: 0}}\n")
    with pytest.raises(VenueFault) as fault:
        load_scenario(path, SPEC)
    said = "\n".join(map(str, fault.value.findings))
    for words in ("no zone named 'q'", "'25:00' is no time; write a clock time", "write a whole number from 1 on"):
        assert words in said


def test_in_every_arrangement_a_booking_is_set_up_and_ends_by_the_rules() -> None:
    """The demo's sixteen: two bookings side by side, in each of which a wall moves; every rule is held at every entry,
    nothing is joined by a booking, and afterwards no link and no request of it is left."""
    data = load(CONFIG / "tidewater", DriverRules(Registry.of(plugins=[]))).data
    spec = from_data(data)
    walls = tuple(spec.partitions)
    for arrangement in range(2 ** len(walls)):
        trial = Trial(data, spec)
        trial.begin()
        for place, wall in enumerate(walls):
            trial.do(moved(wall, "open" if arrangement >> place & 1 else "closed"))
        groups = dict(trial.state.group_of)
        for name, zones in (("dinner", ("heron", "plover")), ("speeches", ("tern", "curlew"))):
            start = trial.now + 60.0
            one = Wish(name, name, start, start + 60.0, zones, set_up=30.0, clear_down=30.0, scene=name, private=True)
            trial.do(CreateBooking(Actor(NOBODY), name, one), 0.0)
        trial.pass_time(45.0)
        assert trial.state.group_of == groups
        trial.check_faces()
        asked = {wall: request.position for wall, request in trial.state.wall_requests.items()}
        assert asked == {
            "heron-plover": "open", "plover-tern": "closed", "tern-curlew": "open", "curlew-heron": "closed",
        }  # fmt: skip
        for wall in walls:
            fork = trial.fork()
            fork.do(moved(wall, "closed" if trial.state.walls[wall].joins else "open"))
            fork.check_faces()
            fork.check_snapshot()
            assert not list(fork.state.in_use.live())
            assert not list(fork.state.wall_requests.live())
            assert not any("booking" in link.reasons for link in fork.state.links.values())
