"""The simulated display is one to a client that knows nothing of us: aiopjlink."""

from __future__ import annotations

import pytest
from aiopjlink import PJLink, PJLinkERR2, PJLinkERR3, PJLinkERR4, PJLinkPassword, Power, Sources

from roomlink.drivers.pjlink.simulated import SimulatedDisplay
from tests.contracts.driver import until


async def test_its_lamp_takes_its_time() -> None:
    """Off, warming up, on, cooling down, off; and what cannot be done on the way is refused for now."""
    async with (
        SimulatedDisplay(warm_up_s=0.1, cool_down_s=0.1) as display,
        PJLink("127.0.0.1", display.port) as link,
    ):
        assert await link.power.get() is Power.State.OFF
        with pytest.raises(PJLinkERR3):
            await link.sources.set(Sources.Mode.DIGITAL, 1)
        await link.power.turn_on()
        assert await link.power.get() is Power.State.WARMING
        with pytest.raises(PJLinkERR3):
            await link.power.turn_off()
        assert await until(lambda: display.phase == "1", 3)
        assert await link.power.get() is Power.State.ON
        await link.power.turn_off()
        assert await link.power.get() is Power.State.COOLING
        with pytest.raises(PJLinkERR3):
            await link.power.turn_on()
        assert await until(lambda: display.phase == "0", 3)


async def test_it_selects_mutes_and_tells() -> None:
    """Inputs, mute by part, errors, lamp hours, names."""
    async with SimulatedDisplay(warm_up_s=0.0) as display:
        display.errors["lamp"] = "warning"
        async with PJLink("127.0.0.1", display.port) as link:
            await link.power.turn_on()
            assert await until(lambda: display.phase == "1", 3)
            assert (Sources.Mode.DIGITAL, "1") in await link.sources.available()
            await link.sources.set(Sources.Mode.DIGITAL, 1)
            assert await link.sources.get() == (Sources.Mode.DIGITAL, "1")
            with pytest.raises(PJLinkERR2):
                await link.sources.set(Sources.Mode.STORAGE, 9)
            for video, audio in ((True, True), (False, True), (True, False), (False, False)):
                await link.mute.video(video)
                await link.mute.audio(audio)
                assert await link.mute.status() == (video, audio)
            assert (await link.errors.query())[link.errors.Category.LAMP] is link.errors.Level.WARN
            assert await link.lamps.status() == [(1200, link.lamps.State.ON)]
            assert await link.info.pjlink_class() is PJLink.C1
            assert await link.info.product_name() == "simulated display"


async def test_it_wants_its_password() -> None:
    """Right, wrong, none."""
    async with SimulatedDisplay(password="plover-3") as display:
        async with PJLink("127.0.0.1", display.port, password="plover-3") as link:
            assert await link.power.get() is Power.State.OFF
        for wrong in ("heron-9", None):
            link = PJLink("127.0.0.1", display.port, password=wrong)
            with pytest.raises(PJLinkPassword):
                await link.__aenter__()
            await link.__aexit__(None, None, None)


async def test_it_fails_when_told() -> None:
    """A fault to try."""
    async with SimulatedDisplay() as display, PJLink("127.0.0.1", display.port) as link:
        display.refuse["POWR"] = "ERR4"
        with pytest.raises(PJLinkERR4):
            await link.power.turn_on()
