"""Sound that comes back, programme that is lowered, and contacts that are told of, on simulated devices."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest

from roomlink.core.commands import SERVICE, Arm, Configure, ReportPaging
from tests.runtime.test_outputs import Rig, binding, point, venue

BLEND = {"lead_order": ["a-panel"], "others": "own", "blend": 0.4, "on_combine": {}, "on_separate": {}}
DESK = {"ducks": ["volume"], "by": 12.0, "most": 60.0, "zones": None, "control": None, "name": "Desk"}


def evening() -> dict[str, Any]:
    data = venue()
    data["combining"] = BLEND
    data["paging"] = {"desk": {**DESK, "input": {"device": "relays", "point": point("key"), "made": True}}}
    data["presence"] = {"a": {"device": "relays", "point": point("somebody"), "made": True}}
    data["partitions"]["a-b"]["pass_door"] = {"device": "relays", "point": point("door", start=True), "made": True}
    # As a rack with two loads and an amplifier on one supply.
    data["supplies"] = {"rack": {"stagger": 0.1}}
    power = {"class": "power", "supply": "rack"}
    data["bindings"] = [b for b in data["bindings"] if b["name"] != "a.lamp"] + [
        binding("lamp", "relays", point=point("lamp"), order="last-on", **power),
        {**binding("lamp", "relays", point=point("mixer"), **power), "name": "a.mixer"},
    ]
    return data


@pytest.fixture
async def rig() -> AsyncIterator[Rig]:
    found = Rig()
    found.writer.start()
    await found.do(Configure(SERVICE, evening(), "c1"))
    found.outputs.start()
    await found.until(lambda: found.rack.connected and found.relays.connected and "volume" in found.rack.values)
    yield found
    await found.outputs.stop()
    await found.writer.stop()


async def test_sound_that_lost_power_is_muted_routed_levelled_and_then_let_out(rig: Rig) -> None:
    """The mute goes off only once the level has come up; lights wait for nothing."""
    await rig.set("program", "laptop")
    await rig.until(lambda: rig.rack.values.get("program") == 2)
    rig.rack.unplug(power=True)
    await rig.until(lambda: rig.alarms() == ["device-lost/rack"])
    rig.rack.sent.clear()
    rig.rack.plug()
    await rig.until(lambda: rig.rack.values.get("mute") is False and rig.rack.values.get("volume") == -30.0)
    assert rig.rack.got("mute") == [True, False]
    order = [sent.point for sent in rig.rack.sent]
    assert order.index("program") < order.index("volume")
    assert order.index("mute") < order.index("volume")
    came_up = max(n for n, name in enumerate(order) if name == "volume")
    assert came_up <= max(n for n, name in enumerate(order) if name == "mute")
    assert order.index("house") < order.index("volume")


async def test_sound_that_kept_running_is_not_muted_for_it(rig: Rig) -> None:
    """A connection that was lost is no power cut: the guests hear nothing of it."""
    await rig.set("volume", -20.0)
    await rig.until(lambda: rig.rack.values.get("volume") == -20.0)
    rig.rack.unplug()
    await rig.until(lambda: rig.alarms() == ["device-lost/rack"])
    rig.rack.sent.clear()
    rig.rack.plug()
    await rig.until(lambda: rig.alarms() == [])
    await asyncio.sleep(0.7)
    assert True not in rig.rack.got("mute")


async def test_paging_lowers_the_output_and_nothing_else(rig: Rig) -> None:
    """By the contact on site; what the device says of it meanwhile does not become the level."""
    rig.relays.turn("key", True)
    await rig.until(lambda: rig.rack.values.get("volume") == -42.0)
    rig.rack.turn("volume", -42.5)
    await asyncio.sleep(0.2)
    assert rig.writer.state.controls["a", "volume"].to == -30.0  # type: ignore[union-attr]  # a level
    await rig.set("volume", -10.0)
    await rig.until(lambda: rig.rack.values.get("volume") == -22.0)
    rig.relays.turn("key", False)
    await rig.until(lambda: rig.rack.values.get("volume") == -10.0)


async def test_an_override_masks_what_is_lowered(rig: Rig) -> None:
    """Life safety stands above paging."""
    await rig.do(ReportPaging(SERVICE, "desk", True))
    await rig.until(lambda: rig.rack.values.get("volume") == -42.0)
    rig.relays.turn("fire", False)
    await rig.until(lambda: rig.rack.values.get("mute") is True)


async def test_presence_and_pass_doors_are_heard_and_forgotten_when_lost(rig: Rig) -> None:
    """A sensor that cannot be read says that nobody is there; of its door nobody knows."""
    rig.relays.turn("somebody", True)
    rig.relays.turn("door", False)
    await rig.until(lambda: "a" in rig.writer.state.presences and rig.writer.state.pass_doors.get("a-b") == "open")
    rig.relays.unplug()
    await rig.until(lambda: "a" not in rig.writer.state.presences and "a-b" not in rig.writer.state.pass_doors)


async def test_the_amplifier_comes_on_last_and_goes_off_first(rig: Rig) -> None:
    """Though it is bound first."""
    for name in ("a.lamp", "a.mixer"):
        await rig.do(Arm(SERVICE, name, "R. Okafor", "seen"))
    await rig.set("lamp", True)
    await rig.until(lambda: rig.relays.values.get("lamp") is True)
    on = [sent.point for sent in rig.relays.sent if sent.value is True]
    assert [name for name in on if name in ("lamp", "mixer")] == ["mixer", "lamp"]
    rig.relays.sent.clear()
    await rig.set("lamp", False)
    await rig.until(lambda: rig.relays.values.get("mixer") is False)
    off = [sent.point for sent in rig.relays.sent if sent.value is False]
    assert [name for name in off if name in ("lamp", "mixer")] == ["lamp", "mixer"]
