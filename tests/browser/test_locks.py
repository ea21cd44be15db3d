"""What a person has locked, as panels show it, and taking the lead."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


@pytest.fixture
def venue_text() -> str:
    """Quay House with a lock that is ready by name."""
    return QUAY + "locks: {speech: {zone: heron, controls: [volume], for: 1h}}\n"


async def test_a_panel_says_what_is_locked_and_its_pin_releases_it(house: House, show: Opener) -> None:
    """By whom; the control cannot be used meanwhile. A wrong PIN is told, the right one lets the panel work again."""
    panel = await show("/panel/heron-wall")
    await house.call("PUT", "/locks/quiet", {"zone": "heron", "controls": ["volume"], "pin": "2468", "why": "speech"})
    locks = panel.page.locator("rl-locks")
    await expect(locks.locator("[part=lock]")).to_contain_text("of Heron is locked by")
    await expect(panel.control("volume", "words")).to_contain_text("Locked")
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "true")
    panel.network_fails = True  # what is refused is a failed request in the browser's eyes
    for pin, says in (("1111", "not the PIN"), ("2468", "")):
        await locks.locator("input").fill(pin)
        await locks.locator("[part=release]").click()
        await expect(locks.locator("[part=note]")).to_contain_text(says)
    await expect(locks.locator("[part=lock]")).to_have_count(0)
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "false")


async def test_a_locked_panel_says_so_and_is_released_from_the_plan(house: House, show: Opener) -> None:
    """The plan shows all locks; a panel those that concern it."""
    panel = await show("/panel/heron-wall")
    other = await show("/panel/plover-wall")
    plan = await show("/plan")
    await house.call("PUT", "/locks/shut", {"controller": "heron-wall", "pin": "13579"})
    await expect(panel.page.locator("rl-status")).to_contain_text("locked")
    await expect(panel.control("volume", "words")).to_contain_text("Locked")
    await expect(plan.page.locator("rl-locks [part=lock]")).to_have_count(1)
    await expect(other.page.locator("rl-locks [part=lock]")).to_have_count(0)
    await plan.page.locator("rl-locks input").fill("13579")
    await plan.page.locator("rl-locks [part=release]").click()
    await expect(panel.page.locator("rl-locks [part=lock]")).to_have_count(0)
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "false")


async def test_a_lock_that_is_ready_is_set_from_the_plan(house: House, show: Opener) -> None:
    """With one touch; without a PIN only a role releases it, so none is asked for."""
    plan = await show("/plan")
    await plan.page.locator("rl-locks [part=set]").click()
    await expect(plan.page.locator("rl-locks [part=lock]")).to_contain_text("Speech: Volume of Heron is locked")
    await expect(plan.page.locator("rl-locks [part=set]")).to_have_count(0)
    await expect(plan.page.locator("rl-locks input")).to_be_hidden()
    await house.call("DELETE", "/locks/speech")
    await expect(plan.page.locator("rl-locks [part=set]")).to_have_count(1)


async def test_a_panel_takes_the_lead_of_its_group(house: House, show: Opener) -> None:
    """It is offered where another one leads, and is gone once it is taken."""
    panel = await show("/panel/tern-wall")
    take = panel.page.locator("rl-locks [part=lead]")
    await expect(take).to_be_hidden()
    await house.call("PUT", "/partitions/plover-tern", {"position": "open"})
    await expect(take).to_be_visible()
    await take.click()
    await expect(take).to_be_hidden()
    await expect(panel.page.locator("rl-status")).to_contain_text("this panel is in charge")
