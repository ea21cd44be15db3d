"""A life-safety override, as a panel shows it."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

FIRE = """
devices: {fire-panel: {driver: simulated}}
overrides:
  fire:
    name: Fire panel
    kind: life-safety
    input: {device: fire-panel, point: {name: contact, start: true}}
    zones: all
    values: {mute: on, house: 100}
"""


@pytest.fixture
def venue_text() -> str:
    """Quay House with a fire panel: an open contact means fire."""
    return QUAY + FIRE


async def test_an_override_lets_go_of_what_is_held_and_the_panel_says_why_nothing_can_be_done(
    house: House, show: Opener
) -> None:
    """The contact opens: the level stops, every control says that it is held, and works again when it has closed."""
    panel = await show("/panel/heron-wall")
    await panel.hold_down(panel.key("volume", "raise"))
    await house.until_moving("heron", True)
    await house.call("PUT", "/simulated-devices/fire-panel", {"points": {"contact": False}})
    await house.until_moving("heron", False)
    await expect(panel.page.locator("rl-overrides")).to_contain_text("Fire")
    await expect(panel.control("volume", "words")).to_contain_text("Held")
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "true")
    await panel.page.mouse.up()
    await house.call("PUT", "/simulated-devices/fire-panel", {"points": {"contact": True}})
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "false")
    await expect(panel.page.locator("rl-overrides [part~=override]")).to_have_count(0)
