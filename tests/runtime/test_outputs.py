"""Outputs on simulated devices: driven, lost, masked, armed, stopped."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest

from roomlink.core.alarms import standing
from roomlink.core.bookings import Wish
from roomlink.core.commands import (
    SERVICE,
    Act,
    Actor,
    Arm,
    Command,
    Configure,
    CreateBooking,
    Disarm,
    LetGo,
    Recover,
    ReportControl,
    ReportOverride,
    ReportWall,
    StartOverflow,
    StopMotion,
)
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench, Stand
from roomlink.errors import Refused
from roomlink.journal.memory import MemoryJournal
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.outputs import GRACE_S, Outputs
from roomlink.runtime.writer import Writer
from roomlink.testing import venues
from roomlink.testing.faults import FaultyJournal

HAND = Actor("a-panel", "panel", "socket-1")
SCREEN = {"kind": "motion", "travel": 4.0, "max_run": 1.5, "dead_time": 0.5}
CONTROLS = {
    "volume": venues.level(travel=1.0),
    "house": {**venues.level(unit="%", lo=0.0, hi=100.0, start=50.0, travel=1.0), "section": "light"},
    "mute": venues.switch(),
    "program": venues.choice(),
    "lamp": venues.switch(),
    "screen": SCREEN,
}


def point(name: str, **more: Any) -> dict[str, Any]:
    return {"name": name, **more}


def binding(control: str, device: str = "rack", **more: Any) -> dict[str, Any]:
    """A binding of a's control to the point of the same name."""
    return {"name": f"a.{control}", "control": f"a.{control}", "device": device, "digest": "d1", **more}


def venue() -> dict[str, Any]:
    data = venues.venue(["a", "b"], [("a", "b")], controls=CONTROLS, combining=None)
    data["devices"] = {"rack": {"driver": "simulated", "rate": 50}, "relays": {"driver": "simulated", "rate": 50}}
    data["supplies"] = {}
    data["bindings"] = [
        binding("volume", point=point("volume"), on_return="from-low"),
        binding("house", point=point("house"), onto=[0.0, 1.0], curve="square"),
        binding("mute", point=point("mute")),
        binding("program", point=point("program"), values={"lectern": 1, "laptop": 2, "camera": 3, "none": 0}),
        binding("lamp", "relays", point=point("lamp"), **{"class": "power"}),
        binding("screen", "relays", open=point("screen-open"), close=point("screen-close"), **{"class": "motion"}),
    ]
    data["overrides"] = {
        "fire": {
            "kind": "life-safety",
            "input": {"device": "relays", "point": point("fire", start=True), "active": "open"},
            "values": {"mute": True, "house": 100.0},
            "blend": 0.3,
        }
    }
    return data


class Rig:
    """A venue with its writer, outputs and bench, in this event loop."""

    def __init__(self) -> None:
        self.clock = SystemClock()
        self.bench = Bench(self.clock.stamp)
        self.journal = FaultyJournal(MemoryJournal())
        self.writer = Writer(State(), 0, self.journal, self.clock, Metrics())
        self.outputs = Outputs(self.writer, Registry.of(driver(self.bench), plugins=()))

    @property
    def rack(self) -> Stand:
        return self.bench.device("rack")

    @property
    def relays(self) -> Stand:
        return self.bench.device("relays")

    async def do(self, command: Command) -> None:
        await self.writer.submit(command)

    async def set(self, control: str, value: Any, over: float = 0.0) -> None:
        await self.do(Act(HAND, control, "set", controller="a-panel", value=value, over=over))

    async def hold(self, control: str, do: str) -> None:
        await self.do(Act(HAND, control, do, controller="a-panel"))

    async def until(self, true: Callable[[], bool], seconds: float = 3.0) -> float:
        """Wait until something is so; gives how long it took. Fails after ``seconds``."""
        start = self.clock.stamp()
        while not true():
            if self.clock.stamp() - start > seconds:
                raise AssertionError("it did not come to be")
            await asyncio.sleep(0.005)
        return self.clock.stamp() - start

    async def arm(self) -> None:
        for name in ("a.lamp", "a.screen"):
            await self.do(Arm(SERVICE, name, "R. Okafor", "run by hand, limits seen"))

    def alarms(self) -> list[str]:
        return standing(self.writer.state)


@pytest.fixture
async def rig() -> AsyncIterator[Rig]:
    found = Rig()
    found.writer.start()
    await found.do(Configure(SERVICE, venue(), "c1"))
    found.outputs.start()
    await found.until(lambda: found.rack.connected and found.relays.connected and "volume" in found.rack.values)
    yield found
    await found.outputs.stop()
    await found.writer.stop()


async def test_a_device_is_driven_to_what_its_controls_say_when_it_connects(rig: Rig) -> None:
    """Levels map through range and curve, options through the table, switches as they are."""
    await rig.until(lambda: len(rig.rack.values) == 4)
    assert rig.rack.values == {"volume": -30.0, "house": 0.25, "mute": False, "program": 0}


async def test_a_ramp_is_sampled_and_ends_exactly_on_its_target(rig: Rig) -> None:
    """The device gets samples on the way and the target at the end."""
    await rig.set("volume", -10.0, over=0.3)
    await rig.until(lambda: rig.rack.values["volume"] == -10.0)
    way = rig.rack.got("volume")
    assert len(way) > 5
    assert way == sorted(way)


async def test_changes_while_a_device_is_away_cost_one_alarm_and_come_to_their_last_value(rig: Rig) -> None:
    """Pulling a plug under changes: one alarm, and on return it is where it should be within 2 s."""
    rig.rack.unplug()
    await rig.until(lambda: rig.alarms() == ["device-lost/rack"])
    for step in range(20):
        await rig.set("house", float(step))
    before = rig.writer.engine.seq
    await asyncio.sleep(1.0)
    assert rig.writer.engine.seq == before
    rig.rack.plug()
    await rig.until(lambda: rig.rack.values["house"] == pytest.approx(0.19**2), seconds=2.0)
    await rig.until(lambda: rig.alarms() == [])


async def test_what_somebody_turned_at_the_device_is_taken(rig: Rig) -> None:
    """A report that differs from what was sent sets the control."""
    await rig.until(lambda: rig.outputs.devices()["rack"]["points"]["volume"]["confirmed"])
    rig.rack.turn("volume", -22.0)
    await rig.until(lambda: rig.writer.state.controls["a", "volume"].to == -22.0)  # type: ignore[union-attr]
    assert rig.writer.state.controls["a", "volume"].by == "rack"


async def test_an_older_answer_that_comes_late_undoes_nothing(rig: Rig) -> None:
    """A report of the value before, on its way while a new one was sent, is not taken for a hand."""
    await rig.set("volume", -12.0)
    await rig.until(lambda: rig.rack.values["volume"] == -12.0)
    rig.rack.turn("volume", -30.0)
    rig.rack.turn("volume", -12.0)
    await asyncio.sleep(1.1)
    assert rig.writer.state.controls["a", "volume"].to == -12.0  # type: ignore[union-attr]


async def test_what_changes_by_itself_where_nobody_may_is_driven_again(rig: Rig) -> None:
    """A binding that does not follow is compared with what the device reports, and corrected."""
    data = venue()
    data["bindings"][2]["follow"] = False
    await rig.do(Configure(SERVICE, data, "c2"))
    await asyncio.sleep(1.1)
    rig.rack.turn("mute", True)
    await rig.until(lambda: rig.rack.values["mute"] is False)


async def test_power_and_motion_stay_untouched_until_armed(rig: Rig) -> None:
    """Disarmed means logged, not sent; a commissioning record arms, and only the next order moves something."""
    await rig.set("lamp", True)
    await rig.hold("screen", "open")
    await asyncio.sleep(0.2)
    assert rig.relays.sent == type(rig.relays.sent)(maxlen=rig.relays.sent.maxlen)
    await rig.arm()
    await asyncio.sleep(0.2)
    assert not rig.relays.values.get("screen-open")
    await rig.do(LetGo(HAND, "socket-1", rig.clock.stamp(), "test"))
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)


async def test_a_changed_binding_is_disarmed(rig: Rig) -> None:
    """A reload that touches an armed binding takes its commissioning record away."""
    await rig.arm()
    data = venue()
    data["bindings"][5]["digest"] = "d2"
    await rig.do(Configure(SERVICE, data, "c2"))
    assert list(rig.writer.state.armed.live()) == ["a.lamp"]


async def test_disarming_stops_what_moves(rig: Rig) -> None:
    """Taking the record away lets nothing run on."""
    await rig.arm()
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    await rig.do(Disarm(SERVICE, "a.screen"))
    await rig.until(lambda: rig.relays.values["screen-open"] is False)


async def test_the_fire_contact_masks_within_200_ms_and_nothing_moves_when_it_clears(rig: Rig) -> None:
    """Opened: muted, lights up, motion stopped. Closed: lights return over the blend, sound stays muted."""
    await rig.arm()
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    rig.relays.turn("fire", False)
    took = await rig.until(
        lambda: (
            rig.rack.values["mute"] is True
            and rig.rack.values["house"] == 1.0
            and rig.relays.values["screen-open"] is False
        )
    )
    assert took < 0.2
    rig.relays.turn("fire", True)
    await rig.until(lambda: rig.rack.values["house"] == 0.25)
    assert rig.rack.values["mute"] is True
    assert rig.relays.values["screen-open"] is False


@pytest.mark.parametrize("cut", ["cable", "box"])
async def test_a_lost_override_input_counts_as_active(rig: Rig, cut: str) -> None:
    """An unreachable relay box masks like an open contact, within 200 ms of the loss."""
    if cut == "cable":
        rig.relays.turn("fire", None)
    else:
        rig.relays.unplug()
    assert await rig.until(lambda: rig.rack.values["mute"] is True) < 0.2
    assert "fire" in rig.writer.state.overrides


async def test_a_lost_device_stops_its_motion_for_good(rig: Rig) -> None:
    """Motion never resumes by itself when its device comes back."""
    await rig.arm()
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    rig.relays.unplug()
    await rig.until(lambda: "device-lost/relays" in rig.alarms())
    rig.relays.plug()
    await rig.until(lambda: rig.relays.values["screen-open"] is False)
    await asyncio.sleep(0.3)
    assert rig.relays.got("screen-open")[-1] is False


async def test_a_reversal_waits_for_the_dead_time_at_the_device(rig: Rig) -> None:
    """The device never has both directions on, nor less than the dead time between them."""
    await rig.arm()
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    await rig.hold("screen", "close")
    await rig.until(lambda: rig.relays.values.get("screen-close") is True)
    changes = [(s.at, s.point, s.value) for s in rig.relays.sent if s.point.startswith("screen")]
    off = next(at for at, name, value in reversed(changes) if name == "screen-open" and value is False)
    on = next(at for at, name, value in changes if name == "screen-close" and value is True)
    assert on - off >= 0.5


async def test_the_longest_run_ends_a_motion_that_is_still_held(rig: Rig) -> None:
    """After ``max_run`` it stops, however long the finger stays."""
    await rig.arm()
    await asyncio.sleep(0.6)  # the other direction must have been off for the dead time
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    assert await rig.until(lambda: rig.relays.values["screen-open"] is False) == pytest.approx(1.5, abs=0.2)


async def test_stopping_the_service_stops_motion(rig: Rig) -> None:
    """The last thing that a device hears is off."""
    await rig.arm()
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    await rig.do(StopMotion(SERVICE, "the service stops"))
    await rig.outputs.stop()
    assert rig.relays.values["screen-open"] is False
    rig.outputs.start()


async def test_a_restart_switches_no_power_that_the_configuration_does_not_restore(rig: Rig) -> None:
    """A lamp that was on stays as the device has it until somebody orders it."""
    await rig.arm()
    await rig.set("lamp", True)
    await rig.until(lambda: rig.relays.values.get("lamp") is True)
    await rig.outputs.stop()
    rig.relays.values["lamp"] = False
    rig.relays.sent.clear()
    await rig.do(Recover(SERVICE, rig.clock.stamp()))
    again = Outputs(rig.writer, Registry.of(driver(rig.bench), plugins=()))
    again.start()
    await rig.until(lambda: rig.relays.connected)
    await asyncio.sleep(0.2)
    assert rig.relays.got("lamp") == []
    await rig.set("lamp", False)
    await rig.set("lamp", True)
    await rig.until(lambda: rig.relays.values["lamp"] is True)
    await again.stop()
    rig.outputs.start()


async def test_a_device_that_lost_power_brings_sound_up_from_the_low_end(rig: Rig) -> None:
    """Lights come at once, sound over the blend."""
    data = venue()
    data["combining"] = {"lead_order": ["a-panel"], "others": "own", "blend": 0.5, "on_combine": {}, "on_separate": {}}
    await rig.do(Configure(SERVICE, data, "c2"))
    rig.rack.unplug(power=True)
    await rig.until(lambda: rig.alarms() == ["device-lost/rack"])
    rig.rack.sent.clear()
    rig.rack.plug()
    await rig.until(lambda: rig.rack.values.get("volume") == -30.0)
    way = [v for v in rig.rack.got("volume") if isinstance(v, float)]
    assert way[0] < -50.0
    assert way == sorted(way)
    assert rig.rack.got("house") == [0.25]


async def test_a_report_under_a_mask_does_not_lift_it(rig: Rig) -> None:
    """Turning the desk up during a fire alarm changes neither mask nor output."""
    rig.relays.turn("fire", False)
    await rig.until(lambda: rig.rack.values["mute"] is True)
    await rig.do(ReportControl(SERVICE, "a", "house", 20.0))
    await asyncio.sleep(0.1)
    assert rig.rack.values["house"] == 1.0


async def test_an_override_whose_device_is_not_configured_stands(rig: Rig) -> None:
    """There is nobody who could say that it is clear."""
    data = venue()
    data["overrides"]["fire"]["input"]["device"] = "nowhere"
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.until(lambda: rig.rack.values["mute"] is True)


async def test_an_override_input_that_has_spoken_is_not_taken_for_lost(rig: Rig) -> None:
    """It reports once on connecting, and silence after that is its way of staying as it is."""
    await asyncio.sleep(GRACE_S + 0.3)
    assert not list(rig.writer.state.overrides.live())


async def test_an_override_input_that_never_speaks_counts_as_active(rig: Rig) -> None:
    """After the grace a connected box that says nothing of its input is as good as none."""
    data = venue()
    del data["overrides"]["fire"]["input"]["point"]["start"]
    data["overrides"]["fire"]["input"]["point"]["name"] = "other"
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.until(lambda: "fire" in rig.writer.state.overrides, seconds=GRACE_S + 1.0)


async def test_the_sound_plan_is_sent_and_follows_the_groups(rig: Rig) -> None:
    """A microphone reaches loudspeakers of its group alone, and turns down when more are open."""
    data = venue()
    data["sound"] = {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None}
    data["microphones"] = {f"m-{z}": {"zone": z, "at": [0.0, 0.0]} for z in "ab"}
    data["loudspeakers"] = {f"s-{z}": {"zone": z, "at": [3.432, 0.0]} for z in "ab"}
    data["sound_outputs"] = [
        {"microphone": "m-a", "loudspeakers": "s-b", "device": "rack", "point": point("a-to-b"), "off": -90.0},
        {"microphone": None, "loudspeakers": "s-a", "device": "rack", "point": point("delay-a"), "off": -90.0},
    ]
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.until(lambda: rig.rack.values.get("a-to-b") == -90.0 and rig.rack.values.get("delay-a") == 10.0)
    await rig.do(ReportWall(SERVICE, "a-b", "open", pin=60.0))
    await rig.until(lambda: rig.rack.values["a-to-b"] == -3.01)


async def test_the_sound_plan_follows_what_is_heard(rig: Rig) -> None:
    """A microphone that is muted goes off at its loudspeakers, under life safety too, and over an overflow on."""
    data = venue()
    data["sound"] = {"temperature": 20.0, "own_zone_reduction": 6.0, "reference": None}
    data["microphones"] = {"m-a": {"zone": "a", "at": [0.0, 0.0], "mute": "mute"}}
    data["loudspeakers"] = {f"s-{z}": {"zone": z, "at": [1.0, 0.0]} for z in "ab"}
    data["sound_outputs"] = [
        {"microphone": "m-a", "loudspeakers": f"s-{z}", "device": "rack", "point": point(f"a-to-{z}"), "off": -90.0}
        for z in "ab"
    ]
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.do(Act(SERVICE, "mute", "set", zone="a", value=False))
    await rig.until(lambda: (rig.rack.values.get("a-to-a"), rig.rack.values.get("a-to-b")) == (-6.0, -90.0))
    await rig.do(StartOverflow(SERVICE, "balcony", "a", "b"))
    await rig.until(lambda: rig.rack.values["a-to-b"] == 0.0)
    await rig.do(Act(SERVICE, "mute", "set", zone="a", value=True))
    await rig.until(lambda: (rig.rack.values["a-to-a"], rig.rack.values["a-to-b"]) == (-90.0, -90.0))
    await rig.do(Act(SERVICE, "mute", "set", zone="a", value=False))
    await rig.until(lambda: rig.rack.values["a-to-a"] == -6.0)
    await rig.do(ReportOverride(SERVICE, "fire", True, "rehearsed"))
    await rig.until(lambda: (rig.rack.values["a-to-a"], rig.rack.values["a-to-b"]) == (-90.0, -90.0))


async def running(rig: Rig) -> None:
    """The screen opens, held by a finger, its binding armed."""
    await rig.arm()
    await asyncio.sleep(0.6)
    await rig.hold("screen", "open")
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)


@pytest.mark.parametrize("change", ["device", "binding", "control", "device and binding gone"])
async def test_a_reload_leaves_nothing_moving(rig: Rig, change: str) -> None:
    """Whatever of a moving screen's configuration changes, its outputs go off at once."""
    await running(rig)
    data = venue()
    if change == "device":
        data["devices"]["relays"]["rate"] = 40
        data["bindings"][5]["digest"] = "d2"
    elif change == "binding":
        del data["bindings"][5]
    elif change == "control":
        data["zones"]["a"]["controls"]["screen"] = {**SCREEN, "dead_time": 0.9}
        data["bindings"][5]["digest"] = "d2"
    else:
        del data["bindings"][4:6], data["devices"]["relays"], data["overrides"]["fire"]
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.until(lambda: rig.relays.values["screen-open"] is False, seconds=0.5)


async def test_an_older_order_that_becomes_durable_later_undoes_no_release(rig: Rig) -> None:
    """A slow disk: pressed, let go before the press is stored; the screen never runs."""
    await rig.arm()
    await asyncio.sleep(0.6)
    rig.journal.pause()
    press = rig.writer.put(Act(HAND, "screen", "open", controller="a-panel"))
    stop = rig.writer.put(Act(HAND, "screen", "stop", controller="a-panel"))
    await asyncio.sleep(0.1)
    rig.journal.go_on()
    await press
    await stop
    await asyncio.sleep(0.2)
    assert True not in rig.relays.got("screen-open")


async def test_a_stop_outlasts_a_disk_that_fails(rig: Rig) -> None:
    """The screen stops at once and stays so; the caller is answered once the journal has it."""
    await running(rig)
    rig.journal.fail(2)
    stop = rig.writer.put(Act(HAND, "screen", "stop", controller="a-panel"))
    await rig.until(lambda: rig.relays.values["screen-open"] is False, seconds=0.3)
    await stop
    assert rig.writer.state.controls["a", "screen"].running is None  # type: ignore[union-attr]
    assert rig.relays.got("screen-open")[-1] is False


async def test_an_override_holds_its_mask_while_the_disk_fails(rig: Rig) -> None:
    """No order is decided before what is owed: it is refused, and the lights stay up."""
    rig.journal.fail(1)
    rig.relays.turn("fire", False)
    await rig.until(lambda: rig.rack.values["house"] == 1.0, seconds=0.3)
    rig.rack.sent.clear()
    with pytest.raises(Refused, match="fire override stands"):
        await rig.set("program", "laptop")
    await rig.until(lambda: "fire" in rig.writer.state.overrides)
    assert set(rig.rack.got("house")) <= {1.0}


async def test_a_timed_hold_ends_at_the_device_while_the_disk_fails(rig: Rig) -> None:
    """``for`` over HTTP: the time is over, whether or not the journal can take it."""
    await rig.arm()
    await asyncio.sleep(1.0)
    await rig.do(Act(Actor("program"), "screen", "open", zone="a", for_s=0.8))
    await rig.until(lambda: rig.relays.values.get("screen-open") is True)
    rig.journal.fail(3)
    assert await rig.until(lambda: rig.relays.values["screen-open"] is False) < 1.2


async def test_the_newer_word_of_an_override_counts_whatever_the_disk_took(rig: Rig) -> None:
    """Clear, not stored; active again: it stands, and no late retry clears it."""
    rig.relays.turn("fire", False)
    await rig.until(lambda: "fire" in rig.writer.state.overrides)
    rig.journal.fail(1)
    rig.relays.turn("fire", True)
    await asyncio.sleep(0.05)
    rig.relays.turn("fire", False)
    await asyncio.sleep(0.8)
    assert "fire" in rig.writer.state.overrides
    assert rig.rack.values["mute"] is True


async def test_disarming_keeps_a_waiting_load_off(rig: Rig) -> None:
    """What waits for its least time does not come on behind a disarmed binding."""
    data = venue()
    data["bindings"][4]["min_off"] = 0.5
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.arm()
    await rig.set("lamp", True)
    await rig.set("lamp", False)
    await rig.set("lamp", True)
    await rig.do(Disarm(SERVICE, "a.lamp"))
    off = len([v for v in rig.relays.got("lamp") if v is True])
    await asyncio.sleep(0.8)
    assert len([v for v in rig.relays.got("lamp") if v is True]) == off


async def test_new_times_of_a_gate_count_after_a_reload(rig: Rig) -> None:
    """A longer ``min_on`` holds the next switch-off back."""
    await rig.arm()
    await rig.set("lamp", True)
    await rig.until(lambda: rig.relays.values.get("lamp") is True)
    data = venue()
    data["bindings"][4]["min_on"] = 1.0
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.set("lamp", False)
    await asyncio.sleep(0.4)
    assert rig.relays.values["lamp"] is True


async def test_the_sense_of_an_input_changes_with_its_configuration(rig: Rig) -> None:
    """What was last heard is understood anew at once."""
    data = venue()
    data["overrides"]["fire"]["input"]["active"] = "closed"
    await rig.do(Configure(SERVICE, data, "c2"))
    await rig.until(lambda: "fire" in rig.writer.state.overrides, seconds=1.0)


async def test_stopping_what_was_not_started_is_no_fault() -> None:
    """A start that failed can be taken back."""
    await Rig().outputs.stop()


async def test_inputs_are_told_with_what_was_last_heard(rig: Rig) -> None:
    """Who commissions a contact must be able to read it."""
    heard = rig.outputs.devices()["relays"]["inputs"]["fire"]
    assert (heard["what"], heard["value"]) == (["override/fire"], True)


async def test_what_was_ordered_while_a_device_was_away_does_not_move_it_once_it_is_back(rig: Rig) -> None:
    """A finger that is still down is no reason to start by surprise: it has to be put down again."""
    await rig.do(Configure(SERVICE, {**venue(), "overrides": {}}, "c2"))
    await rig.until(lambda: rig.relays.connected)
    await rig.arm()
    rig.relays.unplug()
    await rig.until(lambda: "device-lost/relays" in rig.alarms())
    await rig.hold("screen", "open")
    rig.relays.plug()
    await rig.until(lambda: rig.relays.connected)
    await rig.until(lambda: rig.relays.values.get("screen-open") is False)
    await asyncio.sleep(0.2)
    assert True not in rig.relays.got("screen-open")


async def test_of_a_device_in_a_zone_in_private_use_only_its_health_is_told(rig: Rig) -> None:
    """What it was sent would tell what goes on there; who may see what is private is told all of it."""
    await rig.until(lambda: rig.outputs.devices()["rack"]["points"]["volume"]["confirmed"])
    start = float(int(rig.clock.stamp()) - 1)
    wish = Wish(uid="u", title="Merger", start=start, end=start + 3600.0, zones=("a",), starts=(start,), private=True)
    await rig.do(CreateBooking(SERVICE, "deal", wish))
    await rig.until(lambda: "a" in rig.writer.state.in_use)
    seen = rig.outputs.devices()["rack"]["points"]["volume"]
    assert seen == {"wanted": None, "sent": None, "reported": None, "confirmed": True, "fault": None}
    assert rig.outputs.devices(may_see=True)["rack"]["points"]["volume"]["sent"] == -30.0
    assert rig.outputs.devices()["relays"]["inputs"]["fire"]["value"] is not None, "a contact of the house"


@pytest.mark.parametrize(("name", "value"), [("program", "nonsense"), ("volume", "loud"), ("volume", 12.0)])
async def test_a_report_that_cannot_be_taken_is_driven_over(rig: Rig, name: str, value: Any) -> None:
    """It means nothing, or nothing that the control can be: then the device shall be what the control says."""
    await rig.until(lambda: rig.outputs.devices()["rack"]["points"][name]["confirmed"])
    right = rig.rack.values[name]
    rig.rack.turn(name, value)
    await rig.until(lambda: rig.rack.values[name] == right)


async def test_what_a_device_said_just_before_a_reload_is_looked_at_after_it(rig: Rig) -> None:
    """The look that an echo puts off outlives the configuration that it was put off under."""
    await rig.until(lambda: rig.outputs.devices()["rack"]["points"]["program"]["confirmed"])
    right = rig.rack.values["program"]
    rig.rack.turn("program", "nonsense")
    data = venue()
    data["bindings"][4]["min_on"] = 1.0
    await rig.do(Configure(SERVICE, data, "c2"))
    assert rig.rack.values["program"] == "nonsense"
    await rig.until(lambda: rig.rack.values["program"] == right)


async def test_under_a_mask_a_device_that_came_back_is_still_watched(rig: Rig) -> None:
    """It was driven to the mask when it returned; what it says later that differs is driven over like anything."""
    rig.relays.turn("fire", False)
    await rig.until(lambda: rig.rack.values["house"] == 1.0)
    data = venue()
    data["bindings"][1]["on_return"] = "from-low"
    await rig.do(Configure(SERVICE, data, "c2"))
    rig.rack.unplug(power=True)
    await rig.until(lambda: "device-lost/rack" in rig.alarms())
    rig.rack.plug()
    await rig.until(lambda: rig.rack.values.get("house") == 1.0)
    await rig.until(lambda: "device-lost/rack" not in rig.alarms())
    rig.rack.turn("house", 0.2)
    await rig.until(lambda: rig.rack.values["house"] == 1.0)


async def test_a_disarmed_load_that_lost_power_is_not_switched_on_again(rig: Rig) -> None:
    """It stays as it is while it is disarmed, and what it comes back as is its own affair."""
    await rig.arm()
    await rig.set("lamp", True)
    await rig.until(lambda: rig.relays.values.get("lamp") is True)
    await rig.do(Disarm(SERVICE, "a.lamp"))
    assert rig.relays.values["lamp"] is True
    rig.relays.unplug(power=True)
    await rig.until(lambda: "device-lost/relays" in rig.alarms())
    rig.relays.plug()
    await rig.until(lambda: rig.relays.connected)
    await asyncio.sleep(0.2)
    assert rig.relays.got("lamp") == [True]
    assert not rig.relays.values.get("lamp")
