"""What is held is let go, whatever happens to the finger or the page."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House, Screen, middle

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def test_a_level_rises_while_its_key_is_held_and_stops_on_release(house: House, show: Opener) -> None:
    """Held it moves, released it stands where it is, short of the end."""
    panel = await show("/panel/heron-wall")
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    slider = panel.control("volume").get_by_role("slider")
    await expect(slider).to_have_attribute("aria-valuetext", "moving to 0.0\N{NARROW NO-BREAK SPACE}dB")
    await panel.page.mouse.up()
    await house.until_moving("heron", False)
    stopped = await house.value("heron", "volume")
    assert -30 < stopped < 0
    await expect(slider).to_have_attribute("aria-valuenow", f"{stopped:g}")


async def test_a_momentary_is_on_only_while_it_is_held(house: House, show: Opener) -> None:
    """Talkback is on from press to release, and not longer."""
    panel = await show("/panel/heron-wall")
    await panel.hold_down(panel.key("talkback", "key"))
    await house.until_value("heron", "talkback", True)
    await expect(panel.control("talkback", "key")).to_have_attribute("aria-pressed", "true")
    await panel.page.mouse.up()
    await house.until_value("heron", "talkback", False)
    await expect(panel.control("talkback", "key")).to_have_attribute("aria-pressed", "false")


async def _window_loses_focus(panel: Screen) -> None:
    # Pages of a driven browser are told that they have the focus; without that, another page in front takes it.
    await (await panel.cdp()).send("Emulation.setFocusEmulationEnabled", {"enabled": False})
    await (await panel.context.new_page()).bring_to_front()


async def _page_is_hidden(panel: Screen) -> None:
    # A browser without a screen never hides a page by itself, so the page is told what the browser would tell it.
    await panel.page.evaluate(
        """() => {
          Object.defineProperty(document, "hidden", { get: () => true });
          Object.defineProperty(document, "visibilityState", { get: () => "hidden" });
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )


async def _page_is_closed(panel: Screen) -> None:
    await panel.page.close()


async def _page_goes_elsewhere(panel: Screen) -> None:
    await panel.page.goto("about:blank")


LEAVING: dict[str, Callable[[Screen], Awaitable[None]]] = {
    "the window loses focus": _window_loses_focus,
    "the page is hidden": _page_is_hidden,
    "the page is closed": _page_is_closed,
    "another page is loaded": _page_goes_elsewhere,
}


@pytest.mark.parametrize("how", LEAVING)
async def test_a_held_key_is_let_go_when(house: House, show: Opener, how: str) -> None:
    """No release comes, and yet the level stops."""
    panel = await show("/panel/heron-wall")
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    await LEAVING[how](panel)
    await house.until_moving("heron", False)
    assert await house.value("heron", "volume") < 0


async def test_a_touch_that_the_system_cancels_lets_go(house: House, show: Opener) -> None:
    """A cancelled pointer, as when a system gesture takes the finger over, ends the hold."""
    panel = await show("/panel/heron-wall", has_touch=True)
    cdp = await panel.cdp()
    point = await middle(panel.key("volume", "raise"))
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})
    await house.until_moving("heron", True)
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchCancel", "touchPoints": []})
    await house.until_moving("heron", False)
    assert await house.value("heron", "volume") < 0


async def test_a_key_of_the_keyboard_holds_until_it_is_released_or_loses_the_focus(house: House, show: Opener) -> None:
    """Space on the key raises; moving the focus away lets go though Space is still down."""
    panel = await show("/panel/heron-wall")
    await panel.key("volume", "raise").focus()
    await panel.page.keyboard.down(" ")
    await house.until_moving("heron", True)
    await panel.key("volume", "lower").focus()
    await house.until_moving("heron", False)
