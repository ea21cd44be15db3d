"""Open walls that ask, that are kept apart, and named arrangements, as panels and the plan show them."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

ASKING = QUAY.replace("name: East wall}", "name: East wall, combine: ask}") + (
    "arrangements:\n"
    "  banquet: {name: Banquet, walls: {heron-plover: open, plover-tern: open}, pin: 1h}\n"
    "  rooms: {name: Three rooms, walls: {heron-plover: closed, plover-tern: closed}}\n"
)


@pytest.fixture
def venue_text() -> str:
    """A quay whose East wall asks before it combines, with two named arrangements."""
    return ASKING


async def test_a_wall_that_asks_is_answered_at_the_lead_s_panel_of_either_side(house: House, show: Opener) -> None:
    """Nothing combines until somebody says so; then there is nothing more to ask."""
    assert ASKING.count("combine: ask") == 1
    plover, tern, heron = (
        await show("/panel/plover-wall"),
        await show("/panel/tern-wall"),
        await show("/panel/heron-wall"),
    )
    await house.call("PUT", "/partitions/plover-tern", {"position": "open"})
    for panel in (plover, tern):
        await expect(panel.page.locator("rl-divisions")).to_contain_text("East wall is open. Combine Plover and Tern?")
    await expect(heron.page.locator("rl-divisions")).to_be_hidden()
    await plover.shows_rooms("Plover")
    await tern.page.locator("rl-divisions").get_by_role("button", name="Combine", exact=True).click()
    await plover.shows_rooms("Plover and Tern")
    for panel in (plover, tern):
        await expect(panel.page.locator("rl-divisions")).to_be_hidden()


async def test_an_open_wall_is_kept_apart_from_the_plan_and_combined_after_all_at_the_panel(
    house: House, show: Opener
) -> None:
    """The plan says that it is on purpose, and by whom; the panel may still combine."""
    panel, plan = await show("/panel/heron-wall"), await show("/plan")
    await house.call("PUT", "/partitions/heron-plover", {"position": "open", "pin": 3600})
    await panel.shows_rooms("Heron and Plover")
    wall = plan.page.get_by_role("group", name="West wall")
    await wall.get_by_role("button", name="West wall: Keep apart").click()
    await expect(wall).to_contain_text("Kept apart on purpose")
    drawn = plan.page.locator('rl-plan path.wall[data-wall="heron-plover"]')
    await expect(drawn).to_have_attribute("data-apart", "")
    await expect(plan.page.locator('rl-plan [part="wall"][data-wall="heron-plover"]')).to_contain_text("kept apart")
    await panel.shows_rooms("Heron")
    await panel.page.locator("rl-divisions").get_by_role("button", name="Combine after all").click()
    await panel.shows_rooms("Heron and Plover")
    await expect(wall).not_to_contain_text("Kept apart")


async def test_a_named_arrangement_states_all_its_walls_at_one_touch_and_says_what_a_sensor_says(
    house: House, show: Opener
) -> None:
    """It moves none: where a sensor says otherwise the statement holds, and people are told to go and look."""
    plan = await show("/plan")
    named = plan.page.locator("rl-arrangements")
    await expect(named).to_contain_text("It moves none")
    wall = plan.page.get_by_role("group", name="West wall")
    await expect(wall.locator('[part="position"]')).to_contain_text("Closed, sensed")
    await named.get_by_role("button", name="Banquet").click()
    await expect(wall).to_contain_text("Open, stated by hand until")
    await expect(wall).to_contain_text("its sensor says closed: go and look")
    await expect(named).to_contain_text("the sensor says otherwise at West wall")
    await expect(named.get_by_role("button", name="Banquet")).to_have_attribute("aria-pressed", "true")
    partitions = (await house.call("GET", "/partitions"))["partitions"]
    assert {wall["trust"] for wall in partitions.values()} == {"pinned"}
