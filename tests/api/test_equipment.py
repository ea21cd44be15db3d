"""Devices over HTTP, with the demo venue and its simulated equipment in a process of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from tests.api.harness import Served

DEMO = Path(__file__).resolve().parents[2] / "config" / "tidewater"


@pytest.fixture(scope="module")
def demo() -> Iterator[httpx.Client]:
    served = Served(DEMO, None)
    try:
        with httpx.Client(base_url=f"{served.url}/api/v1") as client:
            until(lambda: all(d["up"] for d in client.get("/devices").json()["devices"].values()))
            yield client
    finally:
        served.stop()


def until(true: Callable[[], bool], seconds: float = 4.0) -> None:
    """Wait for something that another process does."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come to be"
        time.sleep(0.02)


def turn(demo: httpx.Client, device: str, **points: object) -> None:
    assert demo.put(f"/simulated-devices/{device}", json={"points": points}).status_code == 200


def value(demo: httpx.Client, zone: str, control: str) -> object:
    return demo.get(f"/zones/{zone}").json()["controls"][control]["value"]


def test_devices_say_what_is_wanted_sent_and_confirmed(demo: httpx.Client) -> None:
    """Each point of a driven device, kept apart."""
    points = demo.get("/devices").json()["devices"]["audio"]["points"]
    assert points["heron gain"] == {
        "wanted": -30.0,
        "sent": -30.0,
        "reported": None,
        "confirmed": True,
        "fault": None,
    }


def test_an_order_reaches_the_device(demo: httpx.Client) -> None:
    """Set over HTTP, sent to the rack."""
    demo.post("/zones/tern/actions", json={"control": "volume", "do": "set", "value": -18})
    until(lambda: demo.get("/devices").json()["devices"]["audio"]["points"]["tern gain"]["sent"] == -18.0)


def test_a_pulled_plug_is_one_alarm_until_it_is_back(demo: httpx.Client) -> None:
    """The alarm names the device."""
    demo.put("/simulated-devices/picture", json={"plugged": False})
    until(lambda: list(demo.get("/state").json()["alarms"]) == ["device-lost/picture"])
    demo.put("/simulated-devices/picture", json={"plugged": True})
    until(lambda: demo.get("/state").json()["alarms"]["device-lost/picture"]["state"] == "returned")
    demo.post("/alarms/device-lost/picture/acknowledge")
    assert demo.get("/state").json()["alarms"] == {}


def test_the_fire_contact_masks_and_refuses_until_it_clears(demo: httpx.Client) -> None:
    """Open: muted, lit, orders refused with the reason. Closed: orders are taken again, sound stays muted."""
    turn(demo, "fire-panel", contact=False)
    until(lambda: value(demo, "heron", "mute") is True and value(demo, "heron", "house") == 100.0)
    refused = demo.post("/zones/heron/actions", json={"control": "house", "do": "set", "value": 10})
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/overridden")
    assert demo.get("/state").json()["overrides"]["fire"]["kind"] == "life-safety"
    turn(demo, "fire-panel", contact=True)
    until(lambda: demo.get("/state").json()["overrides"] == {})
    assert value(demo, "heron", "mute") is True
    assert demo.post("/zones/heron/actions", json={"control": "house", "do": "set", "value": 10}).status_code == 200


def test_arming_a_binding_is_put_down_and_taken_back(demo: httpx.Client) -> None:
    """Who and when; a signal needs none, an unknown name is told."""
    assert demo.get("/bindings").json()["bindings"]["heron.screen"]["armed"] is None
    armed = demo.post("/bindings/heron.screen/arm", json={"who": "R. Okafor", "note": "limits seen"})
    assert armed.status_code == 200
    assert demo.get("/bindings").json()["bindings"]["heron.screen"]["armed"]["who"] == "R. Okafor"
    assert demo.delete("/bindings/heron.screen/arm").status_code == 200
    assert demo.get("/bindings").json()["bindings"]["heron.screen"]["armed"] is None
    assert demo.post("/bindings/heron.volume/arm", json={"who": "x"}).json()["type"] == "/problems/needs-no-arming"
    assert demo.post("/bindings/nowhere/arm", json={"who": "x"}).status_code == 404
    assert demo.post("/bindings/heron.screen/arm", json={"who": ""}).status_code == 422


def test_an_armed_screen_runs_for_its_time_and_stops(demo: httpx.Client) -> None:
    """Over HTTP a held motion carries ``for``."""
    demo.post("/bindings/heron.screen/arm", json={"who": "R. Okafor"})
    time.sleep(1.1)  # the dead time, counted from when both outputs were sent off
    run = demo.post("/zones/heron/actions", json={"control": "screen", "do": "open", "for": 0.5})
    assert run.status_code == 200, run.text
    until(lambda: demo.get("/devices").json()["devices"]["relays"]["points"]["screen down"]["sent"] is True)
    until(lambda: demo.get("/devices").json()["devices"]["relays"]["points"]["screen down"]["sent"] is False)
    assert demo.post("/motion/stop").status_code == 200


def test_real_or_unknown_devices_are_not_turned_from_here(demo: httpx.Client) -> None:
    """Only what is simulated can be worked by hand over HTTP."""
    assert demo.put("/simulated-devices/nothing", json={"plugged": False}).status_code == 404


def test_the_sound_plan_follows_the_groups_and_says_that_it_advises(demo: httpx.Client) -> None:
    """Alone a lectern is heard in its own section; joined, in both, each turned down for two open microphones."""
    plan = demo.get("/sound-plan").json()["groups"]
    assert plan[0]["gains"]["heron-lectern"]["plover-ceiling"] == "off"
    demo.put("/partitions/heron-plover", json={"position": "open", "pin": 60})
    # At some hours the demo's calendar has bookings on both sides: then people decide that they are one.
    demo.put("/partitions/heron-plover/combining", json={"combine": True})
    plan = demo.get("/sound-plan").json()["groups"]
    assert plan[0]["zones"] == ["heron", "plover"]
    # Open-microphone attenuation 10·log10 N, N = 2 (Handbook for Sound Engineers, mixers chapter).
    assert plan[0]["gains"]["heron-lectern"]["plover-ceiling"] == pytest.approx(-3.01, abs=0.01)
    assert "ears and a meter" in plan[0]["advice"]
    until(lambda: demo.get("/devices").json()["devices"]["audio"]["points"]["heron lectern in plover"]["sent"] == -3.01)
