"""Stations on the wall over real sockets: a keypad at a real broker and one that speaks lines of text."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from roomlink.core.commands import SERVICE, Act, Actor, AssignMicrophone, Command, Configure, LinkZone, SetLock
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.drivers.simulated import driver
from roomlink.drivers.simulated.bench import Bench
from roomlink.journal.memory import MemoryJournal
from roomlink.limits import STATION_FIRST_WORD_S, STATION_HELD_S_MAX
from roomlink.runtime.clock import SystemClock
from roomlink.runtime.device_rules import DriverRules
from roomlink.runtime.metrics import Metrics
from roomlink.runtime.outputs import Outputs
from roomlink.runtime.stations import Stations
from roomlink.runtime.wiring import StationPart, Wired
from roomlink.runtime.writer import Writer
from roomlink.testing import venues
from roomlink.testing.clock import VirtualClock
from roomlink.venue.load import Loaded, load
from tests.contracts.driver import until
from tests.drivers.mqtt.broker import Broker, Listener
from tests.drivers.ports import free_tcp

VENUE = """
venue: {id: trial, name: Trial, timezone: UTC}
zone_types:
  room:
    controls:
      program: {kind: choice, options: [lectern, laptop]}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 6s, start: -30, tolerance: 0.5}
      mute: {kind: switch, start: off}
      talkback: {kind: momentary}
zones: {heron: {type: room}, plover: {type: room}}
controllers: {heron-wall: {home: heron, panel: none}, plover-wall: {home: plover}}
scenes: {dinner: {type: room, values: {volume: -40, mute: on}}}
devices:
  pad: PAD
stations:
  heron-keypad:
    controller: heron-wall
    device: pad
    keys:
      laptop: {point: POINT(laptop), pressed: down, control: program, press: laptop}
      mute: {point: POINT(mute), pressed: down, control: mute, press: toggle}
      louder: {point: POINT(louder), pressed: down, control: volume, press: raise}
      softer: {point: POINT(softer), pressed: down, control: volume, step: -3}
      talk: {point: POINT(talk), pressed: down, control: talkback, press: hold}
      dinner: {point: POINT(dinner), pressed: tap, each: true, scene: dinner}
    knobs:
      dial: {point: POINT(dial), control: volume, step: 1.5}
      slider: {point: POINT(slider), control: volume, onto: [0, 100]}
    lamps:
      laptop: {point: LAMP(laptop), control: program, is: laptop, on: lit, off: dark, mixed: blink}
      mute: {point: LAMP(mute), control: mute, on: lit, off: dark, mixed: blink}
      loud: {point: LAMP(loud), control: volume, at_least: -20, on: lit, off: dark}
      text: {point: LAMP(text), control: program, mixed: mixed}
"""


def venue(tmp_path: Path, pad: str, key: str, lamp: str) -> Loaded:
    """The venue with a pad of some protocol; ``NAME`` in what is given for a key or a lamp is its name."""
    text = VENUE.replace("PAD", pad)
    for name in ("laptop", "mute", "louder", "softer", "talk", "dinner", "dial", "slider", "loud", "text"):
        text = text.replace(f"POINT({name})", key.replace("NAME", name))
        text = text.replace(f"LAMP({name})", lamp.replace("NAME", name))
    folder = tmp_path / "venue"
    folder.mkdir()
    (folder / "venue.yaml").write_text(text)
    return load(folder, DriverRules(Registry.of(driver(Bench(lambda: 0.0)), plugins=())))


class Rig:
    """The venue served in memory, with its devices driven."""

    def __init__(self, loaded: Loaded, bench: Bench) -> None:
        self.loaded = loaded
        self.clock = SystemClock()
        self.writer = Writer(State(), 0, MemoryJournal(), self.clock, Metrics())
        self.outputs = Outputs(self.writer, Registry.of(driver(bench), plugins=()))

    async def start(self) -> None:
        self.writer.start()
        await self.writer.submit(Configure(SERVICE, self.loaded.data, self.loaded.digest))
        self.outputs.start()

    async def stop(self) -> None:
        await self.outputs.stop()
        await self.writer.stop()

    async def do(self, command: Command) -> None:
        await self.writer.submit(command)

    def value(self, control: str, zone: str = "heron") -> Any:
        record: Any = self.writer.state.controls[zone, control]
        return record.at(self.clock.stamp()) if hasattr(record, "at") else record.value

    async def past_the_first_word(self, device: str = "pad") -> None:
        """Wait until what the pad tells is a press."""
        assert await until(lambda: self.outputs.devices()[device]["up"], 4.0)
        await asyncio.sleep(STATION_FIRST_WORD_S + 0.05)


async def comes(true: Callable[[], bool]) -> None:
    assert await until(true, 4.0)


# A keypad at a real broker


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    broker = Broker(tmp_path, free_tcp())
    await broker.start()
    yield broker
    await broker.stop()


@pytest.fixture
async def listener(broker: Broker) -> AsyncIterator[Listener]:
    listener = Listener(broker.port)
    await listener.ready()
    yield listener
    listener.stop()


@pytest.fixture
async def keypad(broker: Broker, tmp_path: Path) -> AsyncIterator[Rig]:
    rig = Rig(
        venue(
            tmp_path,
            f"{{driver: mqtt, host: 127.0.0.1, port: {broker.port}}}",
            "{report: pad/keys/NAME}",
            "{topic: pad/lamps/NAME}",
        ),
        Bench(lambda: 0.0),
    )
    await rig.start()
    yield rig
    await rig.stop()


async def test_a_keypad_over_mqtt_drives_a_controller_and_its_lamps_show_on_off_and_mixed(
    listener: Listener, keypad: Rig
) -> None:
    """Its keys set, toggle, hold, step and recall; its lamps follow also what is done elsewhere."""

    def lamp(name: str) -> str:
        found = listener.of(f"pad/lamps/{name}")
        return found[-1].decode() if found else ""

    async def tell(key: str, *words: str) -> None:
        for word in words:
            listener.publish(f"pad/keys/{key}", word.encode())

    await keypad.past_the_first_word()
    await comes(lambda: (lamp("laptop"), lamp("mute"), lamp("loud"), lamp("text")) == ("dark", "dark", "dark", "none"))
    await tell("laptop", "down", "up")
    await comes(lambda: keypad.value("program") == "laptop")
    await comes(lambda: (lamp("laptop"), lamp("text")) == ("lit", "laptop"))
    await keypad.do(LinkZone(Actor("heron-wall", "panel"), "heron-wall", "plover"))
    await comes(lambda: (lamp("laptop"), lamp("text")) == ("blink", "mixed"))
    await tell("mute", "down")
    await comes(lambda: keypad.value("mute") is True and keypad.value("mute", "plover") is True)
    await comes(lambda: lamp("mute") == "lit")
    await tell("softer", "down", "up")
    await comes(lambda: keypad.value("volume") == -33.0)
    await tell("dial", "2", "1", "-1", "1")
    await comes(lambda: keypad.value("volume") == -28.5)
    await tell("slider", "75")
    await comes(lambda: keypad.value("volume") == -15.0 and lamp("loud") == "lit")
    await tell("dinner", "tap")
    await comes(lambda: keypad.value("volume") == -40.0 and lamp("loud") == "dark")
    assert keypad.writer.state.controls["heron", "volume"].by == "scene dinner"


async def test_what_a_key_holds_is_let_go_with_the_key_or_with_its_device(
    broker: Broker, listener: Listener, keypad: Rig
) -> None:
    """The broker goes: nobody holds anything any more."""
    await keypad.past_the_first_word()
    listener.publish("pad/keys/talk", b"down")
    await comes(lambda: keypad.value("talkback") is True)
    listener.publish("pad/keys/talk", b"up")
    await comes(lambda: keypad.value("talkback") is False)
    listener.publish("pad/keys/talk", b"down")
    listener.publish("pad/keys/louder", b"down")
    await comes(lambda: keypad.value("talkback") is True and keypad.value("volume") > -30.0)
    holders = {hold.holder for hold in keypad.writer.state.holds.values()}
    assert holders == {"station-heron-keypad.talk", "station-heron-keypad.louder"}
    await broker.stop()
    await comes(lambda: keypad.value("talkback") is False and not keypad.writer.state.holds)


# A keypad that speaks lines of text


class TextPad:
    """A keypad at a TCP port: it says what its keys do, and keeps what its lamps were told."""

    def __init__(self) -> None:
        self.lamps: dict[str, str] = {}
        self._writers: list[asyncio.StreamWriter] = []
        self._server: asyncio.Server | None = None

    async def start(self) -> int:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    async def stop(self) -> None:
        assert self._server is not None
        self._server.close()
        self.hang_up()

    def hang_up(self) -> None:
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)
        while line := await reader.readline():
            _, name, state = line.decode().split()
            self.lamps[name] = state
            writer.write(f"lamp {name} is {state}\r\n".encode())

    def say(self, line: str) -> None:
        self._writers[-1].write(f"{line}\r\n".encode())


COMMANDS = {
    "key": {"report": "key {which} {value:text}"},
    "lamp": {"send": "lamp {which} {value:text}", "expect": "lamp {which} is {value:text}"},
}


async def test_a_keypad_over_text_lines_drives_a_controller_and_its_lamps_show_on_off_and_mixed(
    tmp_path: Path,
) -> None:
    """Lamps are driven again once it is back, and say what is so then."""
    pad = TextPad()
    port = await pad.start()
    config = {"driver": "text", "host": "127.0.0.1", "port": port, "ending": "\r\n", "commands": COMMANDS}
    loaded = venue(
        tmp_path, json.dumps(config), "{command: key, with: {which: NAME}}", "{command: lamp, with: {which: NAME}}"
    )
    rig = Rig(loaded, Bench(lambda: 0.0))
    await rig.start()
    try:
        await rig.past_the_first_word()
        await comes(lambda: pad.lamps.get("laptop") == "dark")
        pad.say("key laptop down")
        pad.say("key laptop up")
        await comes(lambda: rig.value("program") == "laptop" and pad.lamps["laptop"] == "lit")
        await rig.do(LinkZone(Actor("heron-wall", "panel"), "heron-wall", "plover"))
        await comes(lambda: pad.lamps["laptop"] == "blink")
        pad.hang_up()
        pad.lamps.clear()
        await rig.do(Act(SERVICE, "program", "set", zone="plover", value="laptop"))
        await comes(lambda: pad.lamps.get("laptop") == "lit")
        shown = rig.outputs.devices()["pad"]["inputs"]
        assert [one["what"] for one in shown.values() if one["value"] is None].count(["station/heron-keypad/talk"]) == 1
    finally:
        await rig.stop()
        await pad.stop()


# The rules of presses, in virtual time


class Desk:
    """Stations on a clock that stands still, whose keys are pressed by calls."""

    def __init__(self, writer: Writer, clock: VirtualClock) -> None:
        self.writer, self.clock = writer, clock
        self.stations = Stations(writer)

    def part(self, name: str, **raw: Any) -> StationPart:
        usual = {"pressed": True, "each": False, "control": None, "do": None, "value": None, "scene": None}
        kind = raw.pop("kind", "key")
        return StationPart("keypad", "heron-wall", kind, name, name, 0.03, {**usual, **raw})

    def take_up(self, *parts: StationPart) -> None:
        wired: Any = Wired("pad", None, None, {})  # type: ignore[arg-type]  # only what hangs on it is looked at
        wired.stations = {part.name: [part] for part in parts}
        self.stations.take_up({"pad": wired}, {"pad": None})  # type: ignore[dict-item]  # no lamp, no runner
        self.stations.connected("pad")

    async def hear(self, name: str, *values: Any) -> None:
        for value in values:
            self.stations.heard("pad", name, value)
        await asyncio.sleep(0)
        while self.writer.engine.head != self.writer.engine.seq:  # noqa: ASYNC110 - the writer needs no event for this
            await asyncio.sleep(0.001)

    async def advance(self, seconds: float) -> None:
        self.clock.advance(seconds)
        await self.hear("nothing")

    def value(self, control: str) -> Any:
        record: Any = self.writer.state.controls["heron", control]
        return record.at(self.clock.stamp()) if hasattr(record, "at") else record.value


@pytest.fixture
def desk(writer: Writer, clock: VirtualClock) -> Desk:
    return Desk(writer, clock)


SOFTER: dict[str, Any] = {"control": "volume", "do": "step", "value": -3.0}
TALK: dict[str, Any] = {"control": "talkback", "do": "press"}


async def test_a_contact_that_bounces_is_one_press(desk: Desk) -> None:
    """Common practice, no source: 20 to 50 ms. The first change counts at once, then how it is when it is steady."""
    desk.take_up(desk.part("softer", **SOFTER))
    await desk.hear("softer", False)
    await desk.advance(2.0)
    await desk.hear("softer", True, False, True, False, True)
    assert desk.value("volume") == -33.0
    await desk.advance(0.03)
    await desk.hear("softer", False)
    await desk.advance(0.03)
    await desk.hear("softer", True)
    assert desk.value("volume") == -36.0


async def test_a_release_within_the_bounce_is_not_lost(desk: Desk) -> None:
    """It counts as soon as the contact is steady."""
    desk.take_up(desk.part("talk", **TALK))
    await desk.advance(2.0)
    await desk.hear("talk", True, False)
    assert desk.value("talkback") is True
    await desk.advance(0.03)
    assert desk.value("talkback") is False


async def test_how_keys_stand_as_their_device_connects_is_no_press(desk: Desk) -> None:
    """A key that is down then does something only with its next press."""
    desk.take_up(desk.part("softer", **SOFTER))
    await desk.hear("softer", True)
    assert desk.value("volume") == -30.0
    await desk.advance(2.0)
    await desk.hear("softer", False)
    await desk.advance(0.03)
    await desk.hear("softer", True)
    assert desk.value("volume") == -33.0


async def test_a_pad_that_tells_presses_alone_counts_each(desk: Desk) -> None:
    """But not those within the bounce of the one before."""
    desk.take_up(desk.part("softer", each=True, **SOFTER))
    await desk.advance(2.0)
    await desk.hear("softer", True, True)
    assert desk.value("volume") == -33.0
    await desk.advance(0.03)
    await desk.hear("softer", True)
    assert desk.value("volume") == -36.0


async def test_what_is_never_released_is_let_go_after_a_time(desk: Desk) -> None:
    """The word that a key was released may be lost."""
    desk.take_up(desk.part("talk", **TALK))
    await desk.advance(2.0)
    await desk.hear("talk", True)
    await desk.advance(STATION_HELD_S_MAX - 1.0)
    assert desk.value("talkback") is True
    await desk.advance(1.0)
    assert desk.value("talkback") is False


async def test_another_configuration_lets_go_of_what_is_no_longer_there(desk: Desk) -> None:
    """A key that stays the same stays held."""
    desk.take_up(desk.part("talk", **TALK), desk.part("other", **TALK))
    await desk.advance(2.0)
    await desk.hear("talk", True)
    await desk.hear("other", True)
    assert len(desk.writer.state.holds) == 2
    desk.take_up(desk.part("talk", **TALK))
    await desk.hear("nothing")
    assert [hold.holder for hold in desk.writer.state.holds.values()] == ["station-keypad.talk"]
    desk.stations.stop()
    await desk.hear("nothing")
    assert desk.value("talkback") is False


async def test_turns_add_up_while_one_is_on_its_way(desk: Desk) -> None:
    """A fast hand makes few entries; nonsense from a knob is left aside."""
    desk.take_up(desk.part("dial", kind="knob", control="volume", step=1.5, onto=None, curve="linear"))
    await desk.advance(2.0)
    before = desk.writer.engine.seq
    await desk.hear("dial", *[1] * 10, "nonsense", True)
    assert desk.value("volume") == -15.0
    assert desk.writer.engine.seq - before == 2
    await desk.hear("dial", 1000)
    assert desk.value("volume") == 0.0


async def test_a_station_respects_locks_and_overrides(desk: Desk) -> None:
    """What is refused happens not, and is no error of the service."""
    desk.take_up(desk.part("softer", **SOFTER), desk.part("dinner", scene="dinner"))
    await desk.advance(2.0)
    await desk.writer.submit(SetLock(SERVICE, "quiet", zone="heron"))
    await desk.hear("softer", True)
    await desk.hear("dinner", True)
    assert desk.value("volume") == -30.0


async def test_the_station_is_who_acted(desk: Desk) -> None:
    """By its name, and via a station."""
    heard: list[Any] = []
    desk.writer.hooks.append(heard.append)
    desk.take_up(desk.part("softer", **SOFTER))
    await desk.advance(2.0)
    await desk.hear("softer", True)
    assert [(entry.who, entry.via) for entry in heard if entry.did.get("do") == "step"] == [("keypad", "station")]


async def test_lamps_follow_a_radio_microphone_to_where_it_is_used(desk: Desk) -> None:
    """Also one that is muted in both zones, so that no control changes."""
    controls = {**venues.section(), "hand-mute": venues.switch(start=True)}
    hand = {"name": "Hand", "zone": "a", "zones": ["a", "b"], "mute": "hand-mute", "radio": True}
    await desk.writer.submit(Configure(SERVICE, venues.row(2, controls=controls, microphones={"hand": hand}), "radio"))
    shown: dict[str, Any] = {}

    class Lamps:
        def want(self, point: str, sample: Callable[[float], Any], until: float) -> None:
            shown[point] = sample(until)

    raw = {"shows": "state", "control": "hand-mute", "is": True, "on": "lit", "off": "dark", "mixed": None}
    wired: Any = Wired("pad", None, None, {})  # type: ignore[arg-type]  # only what hangs on it is looked at
    wired.stations = {z: [StationPart("keypad", f"{z}-panel", "lamp", z, z, 0.0, raw)] for z in "ab"}
    desk.stations.take_up({"pad": wired}, {"pad": Lamps()})  # type: ignore[dict-item]  # what is wanted is what counts
    desk.writer.hooks.append(lambda entry: desk.stations.follow(desk.writer.state, entry.events))
    assert shown == {"a": "lit", "b": "dark"}
    await desk.writer.submit(AssignMicrophone(SERVICE, "hand", "b"))
    assert shown == {"a": "dark", "b": "lit"}
