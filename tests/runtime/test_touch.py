"""``runtime.touch``: which event touches what, and who hears of it."""

from __future__ import annotations

import pytest

from roomlink.core import events as ev
from roomlink.core import view
from roomlink.core.apply import apply
from roomlink.core.bookings import MoveTicked, OccurrencesDropped, Tick, TickDropped
from roomlink.core.commands import SERVICE, Act, Command, Configure, JoinZones, ReportTrouble, SaveScene, TakeLead
from roomlink.core.divisions import Division, DivisionEnded, DivisionSet, UsedByHand
from roomlink.core.evening_records import ReportPresence
from roomlink.core.lock_records import SetLock
from roomlink.core.records import Level, Link, Role
from roomlink.core.state import State
from roomlink.runtime import touch as touches
from roomlink.runtime.engine import Engine
from roomlink.runtime.touch import Touch, before, spread, watch_change
from roomlink.testing.driver import PLAIN, Driver
from roomlink.venue.load import Loaded
from tests.core.booked import at, book, hall
from tests.runtime.conftest import HERON, START, done, link, volume, wall


def touched(engine: Engine, command: Command, now: float = START + 1) -> Touch:
    """What a command's entry touches, once it is durable."""
    entry = engine.take(command, now).entry
    assert entry is not None
    touch = before(engine.durable, entry.events)
    engine.committed(entry)
    spread(touch, engine.durable)
    return touch


def test_an_alarm_is_news_for_watchers_and_for_the_panels_that_it_concerns(engine: Engine) -> None:
    """A wall's for the panels on either side; the others are told nothing."""
    command = ReportTrouble(SERVICE, "wall-late/heron-plover", "it moves for too long")
    touch = touched(engine, command)
    assert (touch.alarms, touch.everywhere, touch.noticed) == (True, False, {"heron-wall", "plover-wall"})
    change = panel_change(engine.durable, "heron-wall", touch, 2, START + 1)
    assert change is not None
    assert [one["kind"] for one in change["controller"]["alarms"]] == ["wall-late"]
    assert panel_change(engine.durable, "tern-wall", touch, 2, START + 1) is None
    watched = watch_change(engine.durable, touch, 2, START + 1)
    assert watched is not None
    assert list(watched["alarms"]) == ["wall-late/heron-plover"]


def panel_change(state: State, controller: str, touch: Touch, seq: int, now: float) -> touches.Data | None:
    return touches.panel_change(state, controller, touch, touches.place_change(state, touch), seq, now)


LEVEL = Level(-30.0, -20.0)


@pytest.mark.parametrize(
    ("event", "expected"),
    [
        (ev.ControlSet("heron", "volume", LEVEL), Touch(controls={("heron", "volume")})),
        (ev.LinkSet("heron-wall", "tern", Link(("hand",), 1.0), True), Touch(links={"heron-wall"}, zones={"tern"})),
        (ev.LinkEnded("heron-wall", "tern", "by hand"), Touch(links={"heron-wall"}, zones={"tern"})),
        (ev.RoleSet("heron-wall", Role(True, None)), Touch(roles={"heron-wall"})),
        (ev.Regrouped((("heron", "tern"),)), Touch(regrouped={"heron", "tern"}, groups=True)),
        (ev.Configured({}, "digest"), Touch(fresh=True)),
        (ev.ControlDropped("heron", "volume"), Touch(fresh=True)),
        (ev.SceneSaved("dinner", None, ""), Touch(scenes=True)),
        (ev.AlarmCleared("feed/office"), Touch(alarms=True)),
        (ev.HandSet("heron-wall", "volume", -20.0), Touch()),
        (ev.HoldEnded("socket-1/heron-wall/volume", ("heron",), "released"), Touch()),
        (ev.Answered("key", "digest", {}), Touch()),
        (ev.Noticed("something"), Touch()),
        (ev.Remembered("heron", {}), Touch()),
        (DivisionSet("heron-plover", Division("ask", 1.0)), Touch(walls={"heron-plover"})),
        (DivisionEnded("heron-plover", "the wall closed"), Touch(walls={"heron-plover"})),
        (UsedByHand(("heron",), 1.0), Touch()),
        (MoveTicked("heron-plover", "19700201T220000Z", Tick("open", 1.0, "kim", 0.5)), Touch(turns=True)),
        (TickDropped("heron-plover", "19700201T220000Z"), Touch(turns=True)),
        (OccurrencesDropped("gala", ("19700201T220000Z",)), Touch(turns=True)),
    ],
    ids=lambda value: type(value).__name__,
)
def test_each_event_touches_what_it_changes(event: ev.Event, expected: Touch) -> None:
    """And nothing else."""
    assert before(State(), [event]) == expected


def test_a_change_reaches_the_faces_of_all_linked_controllers(engine: Engine) -> None:
    """In the order of cost: those linked to the zone, not the venue."""
    done(engine, engine.take(link("heron", "plover-wall"), START))
    touch = touched(engine, volume(-20.0))
    assert touch.faces == {"heron-wall": {"volume"}, "plover-wall": {"volume"}}
    assert touch.controllers() == {"heron-wall", "plover-wall"}
    assert not touch.everywhere


def test_panels_do_not_hear_of_a_report_that_does_not_count_yet(engine: Engine) -> None:
    """Watchers do; when it counts, everybody does."""
    touch = touched(engine, wall("heron-plover", "open"))
    assert touch == Touch(reports={"heron-plover"})
    now = START + 1
    assert panel_change(engine.durable, "heron-wall", touch, engine.seq, now) is None
    change = watch_change(engine.durable, touch, engine.seq, now)
    assert change is not None
    assert change["partitions"]["heron-plover"]["reported"] == "open"
    assert change["partitions"]["heron-plover"]["position"] == "unknown"
    entry = engine.wake(START + 3)
    assert entry is not None
    counted = before(engine.durable, entry.events)
    assert counted.walls == {"heron-plover"}
    assert counted.everywhere


def test_a_report_that_is_taken_back_is_news_for_watchers_alone(engine: Engine) -> None:
    """A wall that swings back before its time has not moved for anybody else."""
    done(engine, engine.take(wall("plover-tern", "closed"), START))
    done(engine, engine.take(wall("heron-plover", "closed"), START))
    entry = engine.wake(START + 2)
    assert entry is not None
    engine.committed(entry)
    done(engine, engine.take(wall("heron-plover", "open"), START + 3))
    assert touched(engine, wall("heron-plover", "closed"), START + 4) == Touch(reports={"heron-plover"})


def test_a_pin_touches_the_wall_at_once(engine: Engine) -> None:
    """It counts from the moment that it is stated."""
    touch = touched(engine, wall("heron-plover", "open", pin=60.0))
    assert touch.walls == {"heron-plover"}
    assert touch.groups


def test_new_links_bring_the_whole_face(engine: Engine) -> None:
    """As every control may show something else now."""
    touch = touched(engine, link("plover"))
    change = panel_change(engine.durable, "heron-wall", touch, engine.seq, START + 1)
    assert change is not None
    assert set(change["controller"]["controls"]) == {"program", "volume", "mute", "house", "talkback"}
    shown = {"linked_by": ["plover-wall", "heron-wall"], "in_use": None}
    assert change["zones"] == {"plover": shown}


def test_merging_keeps_both(engine: Engine) -> None:
    """And a copy is independent of what it was made from."""
    one, other = Touch(controls={("heron", "volume")}), Touch(zones={"tern"}, groups=True)
    copy = one.copy()
    one.merge(other)
    assert one == Touch(controls={("heron", "volume")}, zones={"tern"}, groups=True)
    assert copy == Touch(controls={("heron", "volume")})


def test_a_copy_takes_in_no_faces_of_what_the_original_merges_later() -> None:
    """Names by controller are copied too."""
    one = Touch(faces={"heron-wall": {"volume"}})
    copy = one.copy()
    one.merge(Touch(faces={"heron-wall": {"mute"}, "tern-wall": {"mute"}}))
    assert one.faces == {"heron-wall": {"volume", "mute"}, "tern-wall": {"mute"}}
    assert copy.faces == {"heron-wall": {"volume"}}


def test_a_link_that_stands_is_no_news_of_its_zone() -> None:
    """What a plain set takes from a link, its pickup or offset, shows on the controller's own face alone."""
    state = State()
    set_again = ev.LinkSet("heron-wall", "tern", Link(("hand",), 1.0), True)
    apply(state, set_again)
    assert before(state, [set_again]) == Touch(links={"heron-wall"})
    ended = ev.LinkEnded("heron-wall", "tern", "by hand")
    assert before(state, [ended, set_again]) == Touch(links={"heron-wall"}, zones={"tern"})


def test_a_joining_tells_each_group_once(engine: Engine) -> None:
    """Not again at each of its zones, neither for panels nor for watchers."""
    touch = touched(engine, JoinZones(HERON, "all", ("heron", "plover", "tern")))
    for change in (
        panel_change(engine.durable, "heron-wall", touch, engine.seq, START + 1),
        watch_change(engine.durable, touch, engine.seq, START + 1),
    ):
        assert change is not None
        assert change["groups"] == [["heron", "plover", "tern"], ["foyer"]]
        assert all("group" not in zone for zone in change["zones"].values())


def test_who_leads_is_told_to_every_panel_as_it_changes(engine: Engine) -> None:
    """Also to those whose own part stays as it was: they follow another one from now on."""
    touched(engine, JoinZones(PLAIN, "hall", ("heron", "plover", "tern")))
    touch = touched(engine, TakeLead(PLAIN, "plover-wall"), START + 2)
    change = panel_change(engine.durable, "tern-wall", touch, 2, START + 2)
    assert change is not None
    assert change["leads"] == {"heron": "plover-wall"}
    watched = watch_change(engine.durable, touch, 2, START + 2)
    assert watched is not None
    assert watched["leads"] == change["leads"]


def test_a_saved_scene_is_one_change_for_everybody(engine: Engine) -> None:
    """Panels list scenes: they get all that there are now, and nothing else."""
    touch = touched(engine, SaveScene(HERON, "late", {"zone": "heron", "values": {"volume": -50.0}}))
    assert touch.everywhere
    change = panel_change(engine.durable, "tern-wall", touch, engine.seq, START + 1)
    watched = watch_change(engine.durable, touch, engine.seq, START + 1)
    assert change is not None
    assert watched is not None
    assert set(change) == set(watched) == {"type", "seq", "at", "scenes"}
    assert set(change["scenes"]) == set(watched["scenes"]) == {"dinner", "late"}


def test_a_configuration_needs_no_faces(engine: Engine, harbour: Loaded) -> None:
    """Whoever listens gets everything anyway."""
    data = {**harbour.data, "venue": {**harbour.data["venue"], "name": "Harbour House"}}
    assert touched(engine, Configure(SERVICE, data, "another")).fresh


def test_a_hold_costs_one_change_at_each_end(engine: Engine) -> None:
    """The level begins to move, and stands again."""
    raising = touched(engine, Act(HERON, "volume", "raise", "heron-wall"))
    assert raising.controls == {("heron", "volume")}
    stopped = touched(engine, Act(HERON, "volume", "stop", "heron-wall"), START + 1.5)
    assert stopped.controls == {("heron", "volume")}


def test_who_leads_where_a_private_booking_is_in_is_told_to_those_who_watch() -> None:
    """The panel's links and feedback are not, but its part in the group is no secret."""
    driver = hall()
    book(driver, "b", 60, 120, private=True)
    driver.advance(80 * 60.0)
    state = driver.state.copy()
    touch = before(state, driver.wall("a-b", "open").events)
    spread(touch, driver.state)
    change = watch_change(driver.state, touch, 1, driver.now)
    assert change is not None
    assert change["controllers"]["b-panel"] == view.watched_face(driver.state, "b-panel", driver.now)
    assert change["controllers"]["b-panel"]["lead"] is False
    assert change["controllers"]["b-panel"]["links"] == []


def test_a_panel_that_gets_to_a_private_booking_leaves_nothing_of_before() -> None:
    """Those who watch have a whole new picture of it: each part of a panel's is in it, with nothing inside."""
    driver = hall()
    book(driver, "b", 60, 120, private=True)
    driver.advance(80 * 60.0)
    hidden = view.watched_face(driver.state, "b-panel", driver.now)
    assert hidden.keys() == view.face(driver.state, "b-panel", driver.now).keys()
    assert not any(hidden[part] for part in ("links", "controls", "alarms", "endings", "closings"))


def test_every_panel_of_a_booking_hears_that_what_is_booked_next_in_one_zone_shortens_its_stay() -> None:
    """What guests may have longer depends on all their zones, so those at home in another one hear it too."""
    driver = hall(bookings={"warn": 3600.0, "extend": [900.0]})
    book(driver, "ab", 60, 120, name="gala")
    driver.advance(61 * 60.0)
    state = driver.state.copy()
    touch = before(state, book(driver, "b", 125, 130).events)
    assert touch.ends == {"a-panel", "b-panel"}
    change = panel_change(driver.state, "a-panel", touch, 1, driver.now)
    assert change is not None
    assert change["controller"]["endings"][0]["offers"] == []


def test_locks_are_told_anew_as_a_private_hour_begins_and_ends() -> None:
    """Who set them, and why, is not told in between; where nothing is locked there is nothing to tell."""
    for locks in (True, False):
        driver = hall()
        book(driver, "a", 60, 120, private=True)
        if locks:
            driver.do(SetLock(PLAIN, "quiet", zone="a", why="speech"))
        for minutes in (60, 120):
            earlier, count = driver.state.copy(), len(driver.events)
            driver.advance_to(at(minutes))
            touch = before(earlier, driver.events[count:])
            assert (touch.veil, touch.locks) == (True, locks)


def test_that_somebody_is_there_is_taken_back_from_all_panels_when_a_private_booking_begins() -> None:
    """Not left out: who was told before would go on showing it."""
    driver = hall(presence={"b": {"device": "d", "point": {}}})
    driver.do(ReportPresence(SERVICE, "b", True))
    assert view.zone_links(driver.state, "b")["present"] is True
    book(driver, "b", 60, 120, private=True)
    driver.advance_to(at(60) - 1.0)
    state = driver.state.copy()
    driver.advance_to(at(60))
    change = place_of_last(driver, state)
    assert change["zones"]["b"]["present"] is None


def place_of_last(driver: Driver, state: State) -> touches.Data:
    """What the last entry tells all panels, where ``state`` was before it."""
    touch = before(state, driver.decisions[-1].events)
    spread(touch, driver.state)
    return touches.place_change(driver.state, touch)
