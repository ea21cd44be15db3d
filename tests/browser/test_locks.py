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
    await plan.page.locator("rl-locks [part=release]").click()
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


async def test_the_others_say_whom_they_follow_now(house: House, show: Opener) -> None:
    """Whoever leads, and not whoever would by the lead order; the plan says it of the rooms."""
    heron, tern, plan = await show("/panel/heron-wall"), await show("/panel/tern-wall"), await show("/plan")
    for wall in ("heron-plover", "plover-tern"):
        await house.call("PUT", f"/partitions/{wall}", {"position": "open", "pin": 3600})
    await expect(tern.standing).to_contain_text("follows Heron\u2019s panel")
    await expect(tern.page.locator("rl-locks [part=lead]")).to_have_text("Take the lead from Heron wall")
    await house.call("POST", "/controllers/plover-wall/lead")
    for panel in (heron, tern):
        await expect(panel.standing).to_contain_text("follows Plover\u2019s panel")
    await expect(plan.page.locator("#groups")).to_contain_text(
        "Heron, Plover and Tern are one room, led by Plover wall"
    )


async def test_a_technician_locks_with_a_pin_and_releases_by_role(house: House, show: Opener) -> None:
    """A room or a panel, some controls or all; the panel says so, and guests need the PIN that the role does not."""
    page, panel = (await show("/technician")).page, await show("/panel/plover-wall")
    await page.locator("#lock-what").select_option("zone plover")
    await page.locator("#lock-controls").select_option(["volume", "mute"])
    for name, value in (("pin", "2468"), ("name", "The speech"), ("why", "on air")):
        await page.locator(f"#lock-form [name={name}]").fill(value)
    await page.get_by_role("button", name="Lock it").click()
    lock = panel.page.locator("rl-locks [part=lock]")
    await expect(lock).to_contain_text("The speech: Volume and Mute of Plover are locked by")
    await expect(lock).to_contain_text("(on air)")
    await expect(panel.key("volume", "raise")).to_have_attribute("aria-disabled", "true")
    assert "2468" not in str(await house.call("GET", "/locks"))
    await page.locator("rl-locks [part=release]").click()
    await expect(lock).to_have_count(0)
    await house.call("PUT", "/locks/shut", {"controller": "plover-wall"})
    await expect(lock).to_contain_text("Shut: Plover wall is locked")
    await expect(panel.page.locator("rl-locks form")).to_be_hidden()
    await page.locator("rl-locks [part=release]").click()
    await expect(lock).to_have_count(0)
