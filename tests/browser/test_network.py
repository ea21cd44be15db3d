"""A network that fails: what is held is let go, what is shown is said to be old, and all comes right by itself."""

from __future__ import annotations

import asyncio
import json
import time

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House, Screen
from tests.browser.proxy import Proxy

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

STALE = "Not current, and nothing can be changed."


async def test_a_cut_lets_go_at_once_and_the_panel_says_why(house: House, proxy: Proxy, show: Opener) -> None:
    """Cut by force in the middle of a hold: the level stops within a second, and the panel says what happened."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    await proxy.cut()
    assert await house.until_moving("heron", False) < 1.0
    await expect(panel.connection).to_contain_text(STALE)
    await expect(panel.control("volume", "note")).to_contain_text("The connection was lost, so it was let go.")
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "true")


async def test_vanishing_packets_let_go_within_a_second(house: House, proxy: Proxy, show: Opener) -> None:
    """Nothing closes the socket, but the signs of life stop: the service lets go by itself."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    proxy.swallow()
    assert await house.until_moving("heron", False) < 1.0
    assert await house.value("heron", "volume") < 0


async def test_a_panel_is_right_again_soon_after_the_network_is(house: House, proxy: Proxy, show: Opener) -> None:
    """Within three seconds of the network's return the panel is current, with what it missed and not all anew."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    await proxy.cut()
    before = len(panel.heard)
    await expect(panel.connection).to_contain_text(STALE)
    await house.set("heron", volume=-12, program="camera")
    await proxy.restore()
    back = time.monotonic()
    await panel.live()
    await expect(panel.control("volume").get_by_role("slider")).to_have_attribute("aria-valuenow", "-12")
    assert time.monotonic() - back < 3.0
    camera = panel.control("program").get_by_role("radio", name="Camera")
    await expect(camera).to_have_attribute("aria-checked", "true")
    assert _welcome(panel, before)["resumed"] is True
    await panel.control("mute", "toggle").click()
    await house.until_value("heron", "mute", False)


async def test_a_panel_that_hears_nothing_says_so_within_five_seconds(proxy: Proxy, show: Opener) -> None:
    """Packets vanish and no close ever comes: panel and plan find out by themselves, and come right by themselves."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    plan = await show("/plan", base=proxy.url, network_fails=True)
    proxy.swallow()
    gone = time.monotonic()
    await asyncio.gather(*(expect(each.connection).to_have_attribute("data-stale", "") for each in (panel, plan)))
    assert time.monotonic() - gone < 5.0
    await expect(panel.connection).to_contain_text(STALE)
    await proxy.restore()
    back = time.monotonic()
    await asyncio.gather(panel.live(), plan.live())
    assert time.monotonic() - back < 3.0


async def test_a_panel_is_current_again_after_the_service_was_killed(house: House, proxy: Proxy, show: Opener) -> None:
    """Killed and started again on the same port, the service gives the panel what it missed before and after."""
    panel = await show("/panel/heron-wall", base=proxy.url, network_fails=True)
    await panel.control("mute", "toggle").click()
    await expect(panel.control("mute", "toggle")).to_have_attribute("aria-pressed", "false")
    await proxy.cut()
    await house.set("heron", volume=-12)
    await house.kill()
    await house.start_again()
    await house.set("heron", program="camera")
    await proxy.restore()
    await panel.live()
    await expect(panel.control("volume").get_by_role("slider")).to_have_attribute("aria-valuenow", "-12")
    camera = panel.control("program").get_by_role("radio", name="Camera")
    await expect(camera).to_have_attribute("aria-checked", "true")
    await expect(panel.control("mute", "toggle")).to_have_attribute("aria-pressed", "false")


async def test_panels_ride_through_a_restart_of_the_service(house: House, show: Opener) -> None:
    """Without anything between them: killed mid-hold, the service comes back, the level stands, the panel works."""
    panel = await show("/panel/heron-wall", network_fails=True)
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    await house.kill()
    await expect(panel.connection).to_contain_text(STALE)
    await panel.page.mouse.up()
    await house.start_again()
    await panel.live()
    assert not await house.moving("heron")
    stands = await house.value("heron", "volume")
    assert -30 <= stands < 0
    await panel.control("mute", "toggle").click()
    await house.until_value("heron", "mute", False)


async def test_a_panel_starts_without_the_service_and_waits_for_it(house: House, show: Opener) -> None:
    """A device that has shown the panel once shows it with the service away, says so, and comes right with it."""
    panel = await show("/panel/heron-wall", network_fails=True)
    await panel.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    await house.kill()
    await panel.page.reload()
    await expect(panel.connection).to_contain_text("The service cannot be reached.")
    await house.start_again()
    await panel.live()
    await panel.shows_rooms("Heron")


def _welcome(panel: Screen, after: int) -> dict[str, object]:
    """The first welcome that the panel had after so many messages."""
    messages = [json.loads(text) for text in panel.heard[after:]]
    found: dict[str, object] = next(message for message in messages if message["type"] == "welcome")
    return found
