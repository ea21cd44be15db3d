"""``runtime.hub``: telling those who listen, and waiting for none of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import orjson
import pytest

from roomlink import limits
from roomlink.core import view, wall_view
from roomlink.core.commands import SERVICE, Command, Configure, JoinZones, SaveScene
from roomlink.core.state import State
from roomlink.runtime import touch as touches
from roomlink.runtime.engine import Engine
from roomlink.runtime.hub import BACKLOG_MESSAGES_MAX, Hub, Listener
from roomlink.testing import venues
from roomlink.venue.load import Loaded
from tests.runtime.conftest import HERON, START, done, link, volume, wall


class Stage:
    """An engine whose entries go straight to a hub."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.now = START
        self.hub = Hub(lambda: engine.durable, lambda: engine.seq, lambda: self.now, "here")

    def do(self, command: Command, after: float = 1.0) -> None:
        self.now += after
        self.tell(self.engine.wake(self.now))
        self.tell(self.engine.take(command, self.now).entry)

    def wait(self, seconds: float) -> None:
        self.now += seconds
        self.tell(self.engine.wake(self.now))

    def tell(self, entry: Any) -> None:
        if entry is not None:
            touch = touches.before(self.engine.durable, entry.events)
            self.engine.committed(entry)
            touches.spread(touch, self.engine.durable)
            self.hub.publish(entry.seq, touch)

    def join(self, controller: str | None = "heron-wall") -> Listener:
        return self.hub.join(controller, lambda: None)


@pytest.fixture
def stage(engine: Engine) -> Stage:
    return Stage(engine)


def taken(listener: Listener) -> list[dict[str, Any]]:
    """All messages that wait for a listener."""
    found = []
    while (frame := listener.take()) is not None:
        found.append(orjson.loads(frame))
    return found


def shown_volume(message: dict[str, Any]) -> float:
    value: float = message["controller"]["controls"]["volume"]["value"]
    return value


def test_a_panel_hears_what_changes_on_its_face_and_no_more(stage: Stage) -> None:
    """The change names one control; a panel that is not linked there hears nothing."""
    heron, plover = stage.join(), stage.join("plover-wall")
    stage.do(volume(-20.0))
    (change,) = taken(heron)
    assert change["type"] == "change"
    assert change["seq"] == stage.engine.seq == 2
    assert list(change["controller"]["controls"]) == ["volume"]
    assert set(change) == {"type", "seq", "at", "controller"}
    assert taken(plover) == []


def test_all_panels_of_a_controller_share_one_frame(stage: Stage) -> None:
    """It is made and encoded once."""
    first, second = stage.join(), stage.join()
    stage.do(volume(-20.0))
    assert first.take() is second.take() is not None


def test_panels_without_news_of_their_own_share_one_frame(stage: Stage) -> None:
    """A new link shows on the plan of all: one message for those, and another for the controller that linked."""
    heron, plover, tern = (stage.join(c) for c in ("heron-wall", "plover-wall", "tern-wall"))
    stage.do(link("foyer"))
    frame = plover.take()
    assert frame is tern.take() is not None
    assert "controller" in taken(heron)[0]


def test_what_panels_share_is_made_once_an_entry(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many show it, each with a face of its own beside it, and however late; a welcome too."""
    made: list[str] = []

    def counted(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def run(*given: Any) -> Any:
            made.append(name)
            return real(*given)

        return run

    for place, name in ((wall_view, "groups"), (view, "zone_links")):
        monkeypatch.setattr(place, name, counted(name, getattr(place, name)))
    panels = [stage.join(c) for c in ("heron-wall", "plover-wall", "tern-wall")]
    stage.do(JoinZones(HERON, "all", ("heron", "plover", "tern")))
    assert made.count("groups") == 1
    zones = made.count("zone_links")
    messages = [taken(panel)[0] for panel in panels]
    assert all("controller" in message and message["groups"] == messages[0]["groups"] for message in messages)
    assert len(messages[0]["zones"]) == zones
    made.clear()
    for controller in ("heron-wall", "plover-wall", "tern-wall"):
        stage.hub.welcome(controller)
    assert (made.count("groups"), made.count("zone_links")) == (1, 4)
    stage.do(link("foyer"))
    assert orjson.loads(stage.hub.welcome("tern-wall"))["zones"]["foyer"]["linked_by"] == ["foyer-wall", "heron-wall"]


def test_a_combine_of_a_large_venue_grows_with_its_zones_and_not_with_their_square() -> None:
    """Counted in bytes, as time depends on the machine: a group is told once in a message."""

    def longest(count: int) -> int:
        names = venues.names(count)
        engine = Engine(State(), 0)
        done(
            engine, engine.take(Configure(SERVICE, venues.row(count, combining=venues.lead_by_order(names)), ""), START)
        )
        stage = Stage(engine)
        panels = [stage.join(controller) for controller in engine.durable.spec.controllers]
        stage.do(JoinZones(HERON, "all", tuple(names)))
        return max(len(panel.take() or b"") for panel in panels)

    assert longest(80) < 5 * longest(20)


def test_the_panels_of_who_acted_are_served_first(stage: Stage) -> None:
    """Whatever the order in which they came, and only where they show something of it."""
    woken: list[str] = []
    for controller in ("heron-wall", "plover-wall", "tern-wall"):
        stage.hub.join(controller, lambda c=controller: woken.append(c))  # type: ignore[misc]  # the name as it is now
    stage.hub.publish(2, touches.Touch(groups=True), "tern-wall")
    assert woken == ["tern-wall", "heron-wall", "plover-wall"]
    woken.clear()
    stage.join("foyer-wall")
    stage.hub.publish(3, touches.Touch(roles={"foyer-wall"}), "tern-wall")
    assert woken == []


def test_a_watcher_hears_the_zone_and_the_faces(stage: Stage) -> None:
    """In zones with the whole control, in controllers with the whole feedback."""
    watcher = stage.join(None)
    stage.do(volume(-20.0))
    (change,) = taken(watcher)
    assert change["zones"]["heron"]["controls"]["volume"]["value"] == -20.0
    assert change["controllers"]["heron-wall"]["controls"]["volume"]["value"] == -20.0
    assert set(change) == {"type", "seq", "at", "zones", "controllers"}


def test_a_slow_listener_gets_the_backlog_and_then_the_latest_values_in_one(stage: Stage) -> None:
    """What does not fit into the backlog is merged: one change, latest value, newest position."""
    slow = stage.join()
    for i in range(50):
        stage.do(volume(-59.0 + i))
    messages = taken(slow)
    assert len(messages) == BACKLOG_MESSAGES_MAX + 1
    assert [shown_volume(m) for m in messages[:3]] == [-59.0, -58.0, -57.0]
    assert shown_volume(messages[-1]) == -10.0
    assert messages[-1]["seq"] == stage.engine.seq
    stage.do(volume(-5.0))
    assert [shown_volume(m) for m in taken(slow)] == [-5.0]


def test_a_merged_change_names_all_that_was_missed(stage: Stage) -> None:
    """Different things that changed meanwhile are all in it, with what they are now."""
    slow = stage.join()
    for i in range(BACKLOG_MESSAGES_MAX):
        stage.do(volume(-59.0 + i))
    stage.do(link("plover"))
    stage.do(volume(-12.0))
    stage.do(wall("plover-tern", "open"))
    merged = taken(slow)[-1]
    assert shown_volume(merged) == -12.0
    assert [one["zone"] for one in merged["controller"]["links"]] == ["heron", "plover"]
    assert merged["partitions"]["plover-tern"]["position"] == "open"
    assert ["plover", "tern"] in merged["groups"]


def test_a_reply_is_never_dropped_however_slow(stage: Stage) -> None:
    """Messages of one's own come in order, beyond the backlog too."""
    slow = stage.join()
    for i in range(30):
        slow.push(b'{"n":%d}' % i)
    assert [m["n"] for m in taken(slow)] == list(range(30))


def test_a_listener_that_left_hears_nothing(stage: Stage) -> None:
    """And is not counted any more; leaving twice is no fault."""
    heron, watcher = stage.join(), stage.join(None)
    assert set(stage.hub.everyone()) == {heron, watcher}
    for one in (heron, watcher, heron):
        stage.hub.leave(one)
    stage.do(volume(-20.0))
    assert stage.hub.everyone() == []
    assert taken(heron) == taken(watcher) == []


def test_a_listener_is_woken_once_for_what_waits(engine: Engine) -> None:
    """Not again for each message that queues up behind it."""
    stage = Stage(engine)
    woken: list[int] = []
    stage.hub.join("heron-wall", lambda: woken.append(1))
    for i in range(20):
        stage.do(volume(-59.0 + i))
    assert len(woken) == 1


def test_a_new_configuration_gives_everybody_a_fresh_welcome(stage: Stage, harbour: Loaded) -> None:
    """One message with the whole view, for panels and watchers alike."""
    heron, watcher = stage.join(), stage.join(None)
    data = {**harbour.data, "venue": {**harbour.data["venue"], "name": "Harbour House"}}
    stage.do(Configure(SERVICE, data, "another"))
    (one,), (other,) = taken(heron), taken(watcher)
    assert one["type"] == other["type"] == "welcome"
    assert one["resumed"] is False
    assert one["controller"]["controller"] == "heron-wall"
    assert set(other["controllers"]) == set(harbour.data["controllers"])


def test_a_panel_whose_controller_is_gone_is_told(stage: Stage, harbour: Loaded) -> None:
    """With a sentence that names it."""
    tern = stage.join("tern-wall")
    controllers = {name: c for name, c in harbour.data["controllers"].items() if name != "tern-wall"}
    stage.do(Configure(SERVICE, {**harbour.data, "controllers": controllers}, "another"))
    assert taken(tern) == [{"type": "bye", "why": "controller tern-wall is no longer configured"}]
    stage.do(wall("plover-tern", "open"))
    stage.hub.leave(tern)


def test_what_was_missed_is_one_change(stage: Stage) -> None:
    """A panel that comes back with the position it knew gets all since then, and nothing older."""
    stage.do(volume(-20.0))
    seq = stage.engine.seq
    stage.do(link("plover"))
    stage.do(volume(-25.0))
    missed = stage.hub.missed(seq, "here")
    assert missed is not None
    listener = stage.join()
    listener.catch_up(missed)
    (change,) = taken(listener)
    assert change["seq"] == stage.engine.seq
    assert shown_volume(change) == -25.0
    assert len(change["controller"]["links"]) == 2
    assert "partitions" not in change


def test_who_missed_nothing_gets_nothing(stage: Stage) -> None:
    """The position is the newest one."""
    stage.do(volume(-20.0))
    missed = stage.hub.missed(stage.engine.seq, "here")
    assert missed is not None
    listener = stage.join()
    listener.catch_up(missed)
    assert taken(listener) == []


def test_a_position_that_is_not_known_is_not_resumed(stage: Stage, harbour: Loaded) -> None:
    """Of the future, from before the start, or from before a new configuration."""
    stage.do(volume(-20.0))
    assert stage.hub.missed(stage.engine.seq + 1, "here") is None
    assert stage.hub.missed(-1, "here") is None
    assert stage.hub.missed(0, "here") is None
    seq = stage.engine.seq
    data = {**harbour.data, "venue": {**harbour.data["venue"], "name": "Harbour House"}}
    stage.do(Configure(SERVICE, data, "another"))
    stage.do(volume(-25.0))
    assert stage.hub.missed(seq, "here") is None


def test_a_position_of_another_journal_is_not_resumed(stage: Stage) -> None:
    """After a restart without data the same numbers mean other entries."""
    stage.do(volume(-20.0))
    assert stage.hub.missed(stage.engine.seq, "elsewhere") is None
    assert stage.hub.missed(stage.engine.seq, "") is None
    assert orjson.loads(stage.hub.welcome("heron-wall"))["journal"] == "here"


def test_a_saved_scene_forgets_nothing_of_what_can_be_resumed(stage: Stage) -> None:
    """It is a change like others, for those who are there and for those who come back."""
    heron = stage.join()
    seq = stage.engine.seq
    stage.do(SaveScene(HERON, "late", {"zone": "heron", "values": {"volume": -50.0}}))
    (change,) = taken(heron)
    assert (change["type"], set(change["scenes"])) == ("change", {"dinner", "late"})
    missed = stage.hub.missed(seq, "here")
    assert missed is not None
    assert missed.scenes


def test_a_position_too_far_back_is_not_resumed(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered has a bound."""
    monkeypatch.setattr(limits, "RESUME_ENTRIES_MAX", 5)
    stage = Stage(engine)
    for i in range(10):
        stage.do(volume(-50.0 + i))
    assert stage.hub.missed(stage.engine.seq - 6, "here") is None
    assert stage.hub.missed(stage.engine.seq - 5, "here") is not None


def test_a_welcome_that_resumes_carries_no_view(stage: Stage) -> None:
    """The panel keeps what it has."""
    message = orjson.loads(stage.hub.welcome("heron-wall", resumed=True))
    assert message == {"type": "welcome", "seq": 1, "at": message["at"], "resumed": True, "journal": "here"}


def test_opening_a_wall_costs_each_panel_one_change_and_one_at_the_arrival(stage: Stage) -> None:
    """Flags, links, roles and levels of a joining come together; the blend ends with a second message."""
    stage.do(volume(-40.0))
    panels = [stage.join(c) for c in ("heron-wall", "plover-wall", "tern-wall")]
    stage.do(wall("heron-plover", "open"))
    assert [taken(p) for p in panels] == [[], [], []]
    stage.wait(2.0)
    joined = [taken(p) for p in panels]
    assert [len(messages) for messages in joined] == [1, 1, 1]
    heron, plover, tern = (messages[0] for messages in joined)
    assert heron["groups"] == plover["groups"] == tern["groups"] == [["heron", "plover"], ["tern"], ["foyer"]]
    assert [one["zone"] for one in heron["controller"]["links"]] == ["heron", "plover"]
    assert plover["controller"]["lead"] is False
    assert "controller" not in tern
    stage.wait(1.0)
    assert [len(taken(p)) for p in panels] == [1, 1, 0]
