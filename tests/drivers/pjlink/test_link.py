"""The PJLink driver and the simulated display: warm-up, passwords, idle closes, the pulled plug."""

from __future__ import annotations

import asyncio
import logging
import time
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from roomlink.drivers.pjlink import DRIVER
from roomlink.drivers.pjlink.simulated import SimulatedDisplay
from tests.contracts.driver import Bench, Rig, constant, running, until
from tests.drivers.pjlink.peer import ByteDisplay

ITEMS = [{"item": item} for item in ("power", "phase", "input", "mute")]


def rig(display: SimulatedDisplay | ByteDisplay, points: list[dict[str, Any]] = ITEMS, **config: Any) -> Rig:
    at = {"host": "127.0.0.1", "port": display.port, "poll": "50ms"}
    return Rig(DRIVER, {**at, **config}, points, [], None)  # type: ignore[arg-type]  # the display is started here


def reports(bench: Bench, name: str) -> list[object]:
    return [value for point, value in bench.heard if point == name]


async def test_what_is_ordered_while_it_warms_up_follows_when_it_is_on() -> None:
    """Power, input and mute wanted at once: nothing is a fault, and power counts when it is really there."""
    async with SimulatedDisplay(warm_up_s=0.3) as display, running(rig(display)) as bench:
        bench.runner.want("power", constant(True), 0.0)
        bench.runner.want("input", constant("digital-1"), 0.0)
        bench.runner.want("mute-both", constant(True), 0.0)
        assert await until(lambda: display.phase == "3", 3)
        assert not bench.runner.snapshot()["power"]["confirmed"]
        assert await until(lambda: display.input == "digital-1" and len(display.muted) == 2, 2)
        assert await until(lambda: all(point["confirmed"] for point in bench.runner.snapshot().values()), 3)
        assert reports(bench, "phase") == ["off", "warming-up", "on"]
        assert reports(bench, "power") == [False, True]
        assert all(point["fault"] is None for point in bench.runner.snapshot().values())


async def test_on_while_it_cools_down_is_on_in_the_end() -> None:
    """Off, and at once on again: the display refuses for now, and is on as soon as it can."""
    async with SimulatedDisplay(warm_up_s=0.0, cool_down_s=0.4) as display, running(rig(display)) as bench:
        for value, phase in ((True, "1"), (False, "2"), (True, "2"), (True, "1")):
            bench.runner.want("power", constant(value), 0.0)
            assert await until(lambda p=phase: display.phase == p, 2)  # type: ignore[misc]  # mypy cannot type a default
        assert bench.runner.snapshot()["power"]["fault"] is None


async def test_a_newer_order_replaces_the_one_that_waits() -> None:
    """On, then off while it still cools down: it stays off, and the old wish never comes true."""
    async with SimulatedDisplay(warm_up_s=0.0, cool_down_s=0.8) as display, running(rig(display)) as bench:
        for value, phase in ((True, "1"), (False, "2"), (True, "2")):
            bench.runner.want("power", constant(value), 0.0)
            assert await until(lambda p=phase: display.phase == p, 2)  # type: ignore[misc]  # mypy cannot type a default
        assert await until(lambda: display.orders.count(("POWR", "1")) >= 2, 3)
        bench.runner.want("power", constant(False), 0.0)
        assert await until(lambda: display.phase == "0", 2)
        before = len(display.orders)
        await asyncio.sleep(0.2)
        assert display.phase == "0"
        assert display.orders[before:] == []


async def test_a_password_opens_it_and_is_never_told(tmp_path: Path) -> None:
    """Wrong at first, then right in the same file: no restart is needed."""
    secret = tmp_path / "secret"
    secret.write_text("heron-9\n")
    async with SimulatedDisplay(password="plover-3") as display:
        async with running(rig(display)) as bench:
            assert await until(lambda: "wants a password" in bench.runner.health.why, 3)
        async with running(rig(display, password_file=str(secret))) as bench:
            assert await until(lambda: "does not take the password" in bench.runner.health.why, 3)
            assert "heron" not in bench.runner.health.why
            secret.write_text("plover-3\n")
            assert await until(lambda: bench.runner.health.up, 4)


async def test_a_display_that_closes_when_idle_is_called_again_quietly() -> None:
    """It hangs up between two polls: that is how they are, and nobody hears of it."""
    async with SimulatedDisplay(idle_close_s=0.05) as display, running(rig(display, poll="200ms")) as bench:
        assert await until(lambda: display.connections >= 4, 3)
        assert [health.up for health in bench.healths] == [True]


async def test_errors_and_lamp_hours_are_told() -> None:
    """The worst, one part, and a lamp that is not there."""
    points = [
        {"item": "errors"},
        {"item": "errors", "of": "fan"},
        {"item": "lamp-hours"},
        {"item": "lamp-hours", "lamp": 2},
    ]
    async with SimulatedDisplay() as display, running(rig(display, points)) as bench:
        assert await until(lambda: len(bench.heard) == 4, 3)
        display.errors["filter"] = "warning"
        assert await until(lambda: reports(bench, "errors") == ["ok", "warning"], 3)
        assert reports(bench, "errors-fan") == ["ok"]
        assert reports(bench, "lamp-hours-1") == [1200]
        assert reports(bench, "lamp-hours-2") == [None]


async def test_a_refused_order_is_that_points_fault() -> None:
    """An input that it lacks, a failure, an item that only reports; the others go on."""
    async with SimulatedDisplay(warm_up_s=0.0) as display, running(rig(display)) as bench:
        bench.runner.want("power", constant(True), 0.0)
        assert await until(lambda: reports(bench, "power") == [False, True], 3)
        display.refuse["AVMT"] = "ERR4"
        for name, value in (("input", "storage-9"), ("mute-both", True), ("phase", "on")):
            bench.runner.want(name, constant(value), 0.0)
        assert await until(lambda: bench.runner.outbox.idle, 3)
        faults = {name: point["fault"] for name, point in bench.runner.snapshot().items()}
        assert faults["power"] is None
        assert "no such setting" in faults["input"]
        assert "failure" in faults["mute-both"]
        assert "only reports" in faults["phase"]


async def test_a_question_that_it_does_not_know_is_asked_once(caplog: pytest.LogCaptureFixture) -> None:
    """A display without lamps: one line in the log."""
    caplog.set_level(logging.WARNING)
    async with SimulatedDisplay() as display:
        display.refuse["LAMP"] = "ERR1"
        async with running(rig(display, [{"item": "lamp-hours"}, {"item": "errors"}])) as bench:
            assert await until(lambda: reports(bench, "errors") == ["ok"], 3)
            await asyncio.sleep(0.2)
            assert len([record for record in caplog.records if "LAMP" in record.getMessage()]) == 1
            assert bench.runner.health.up


async def test_after_the_plug_was_pulled_it_is_where_it_should_be() -> None:
    """Changes while it is away, back within 2 s, told as one down and one up."""
    async with SimulatedDisplay(warm_up_s=0.0) as display, running(rig(display)) as bench:
        bench.runner.want("power", constant(True), 0.0)
        bench.runner.want("input", constant("digital-1"), 0.0)
        assert await until(lambda: display.input == "digital-1" and bench.runner.health.up, 2)
        told = len(bench.healths)
        await display.stop()
        for step in range(10):
            bench.runner.want("input", constant("rgb-2" if step % 2 else "digital-2"), 0.0)
            await asyncio.sleep(0.1)
        display.phase = "0"
        back = time.monotonic()
        await display.start()
        assert await until(lambda: (display.phase, display.input) == ("1", "rgb-2"), 2)
        assert time.monotonic() - back < 2
        assert await until(lambda: bench.runner.health.up, 2)
        assert [health.up for health in bench.healths[told:]] == [False, True]


async def test_a_display_that_stops_answering_counts_as_lost() -> None:
    """It takes the connection and says nothing more."""
    async with ByteDisplay() as display, running(rig(display, timeout="200ms")) as bench:
        assert await until(lambda: bench.runner.health.up, 3)
        display.script[b"%1POWR ?\r"] = b""
        assert await until(lambda: "no answer" in bench.runner.health.why, 2)


@pytest.mark.parametrize("greeting", [b"220 mail\r\n", b"PJLINK 7\r", b"\xff\xfe\r", b"x" * 300])
async def test_whoever_else_listens_there_is_no_display(greeting: bytes) -> None:
    """The greeting is checked before anything is sent."""
    async with ByteDisplay() as display:
        display.greeting = greeting
        async with running(rig(display)) as bench:
            assert await until(lambda: bool(bench.healths), 3)
            assert not bench.runner.health.up
        assert display.lines == []


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ({"item": "volume"}, "Input should be"),
        ({"item": "power", "of": "sound"}, "no such thing"),
        ({"item": "errors", "of": "sound"}, "no such thing"),
        ({"item": "mute", "lamp": 2}, "has no lamp"),
        ({"item": "lamp-hours", "lamp": 9}, "less than or equal to 8"),
    ],
)
def test_a_point_that_cannot_be_is_refused_at_load(point: dict[str, Any], says: str) -> None:
    """With what is wrong."""
    with pytest.raises(ValidationError, match=says):
        DRIVER.point.model_validate(point)


def test_mute_of_both_and_of_one_part_undo_each_other() -> None:
    """So they are never bound together."""
    config = DRIVER.config.model_validate({"host": "127.0.0.1"})
    both, sound, picture = (
        DRIVER.point.model_validate({"item": "mute", "of": of}) for of in ("both", "sound", "picture")
    )
    assert DRIVER.overlaps
    assert DRIVER.overlaps(both, sound)
    assert not DRIVER.overlaps(picture, sound)
    with pytest.raises(ValueError, match="undo each other"):
        DRIVER.make(config, {"mute-both": both, "mute-sound": sound})
