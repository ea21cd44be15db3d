"""Opening and closing walls, as panels and the plan show it."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def test_an_open_wall_joins_rooms_on_panel_and_plan_and_closing_it_restores_them(
    house: House, show: Opener
) -> None:
    """A wall stated open makes one room with one panel in charge; stated closed, each room is as it was."""
    await house.set("tern", volume=-40)
    await house.set("plover", volume=-12)  # used last by hand: the other side adopts it
    await house.call("PUT", "/partitions/plover-tern", {"position": "closed"})
    lead, other, plan = await show("/panel/plover-wall"), await show("/panel/tern-wall"), await show("/plan")
    await expect(plan.page.locator("#groups")).to_have_text("Every room is on its own.")

    await house.call("PUT", "/partitions/plover-tern", {"position": "open"})
    await lead.shows_rooms("Plover and Tern")
    await other.shows_rooms("Tern and Plover")
    await expect(lead.standing).to_have_text("One room, walls open; this panel is in charge.")
    await expect(plan.page.locator("#groups")).to_have_text("Plover and Tern are one room, led by Plover wall.")
    await expect(plan.page.locator('rl-zone[zone="tern"] [part="standing"]')).to_contain_text("One room with Plover")
    await expect(plan.page.locator('rl-walls [aria-label="East wall"]')).to_contain_text("Open")
    await expect(lead.page.locator('rl-links .wall[data-wall="plover-tern"]')).to_have_attribute(
        "data-position", "open"
    )
    await expect(other.control("volume").get_by_role("slider")).to_have_attribute("aria-valuenow", "-12")

    await house.call("PUT", "/partitions/plover-tern", {"position": "closed"})
    await lead.shows_rooms("Plover")
    await other.shows_rooms("Tern")
    for panel in (lead, other):
        await expect(panel.standing).to_have_text("On its own.")
    await expect(plan.page.locator("#groups")).to_have_text("Every room is on its own.")
    await expect(other.control("volume").get_by_role("slider")).to_have_attribute("aria-valuenow", "-40")


async def test_a_simulated_wall_is_moved_from_the_plan(house: House, show: Opener) -> None:
    """The plan's own key lets a simulated wall run: it is shown as moving, then open, and the panels follow."""
    panel, plan = await show("/panel/heron-wall"), await show("/plan")
    wall = plan.page.get_by_role("group", name="West wall")
    await wall.get_by_role("button", name="Open").click()
    await expect(wall).to_contain_text("Moving")
    await expect(wall).to_contain_text("Open, sensed")
    await panel.shows_rooms("Heron and Plover")


async def test_a_real_wall_is_stated_on_the_plan_for_a_time(house: House, show: Opener) -> None:
    """For a wall with contacts of its own the plan takes a person's word, and says until when it holds."""
    plan = await show("/plan")
    wall = plan.page.get_by_role("group", name="East wall")
    await wall.get_by_role("combobox").select_option(label="for an hour")
    await wall.get_by_role("button", name="It is open").click()
    await expect(wall).to_contain_text("Open, stated by hand until")
    assert (await house.call("GET", "/partitions"))["partitions"]["plover-tern"]["trust"] == "pinned"


async def test_a_wall_that_no_sensor_tells_of_is_not_left_to_one(show: Opener) -> None:
    """Nothing will report: a person's word holds for a time, and can be taken back."""
    plan = await show("/plan")
    wall = plan.page.get_by_role("group", name="East wall")
    await expect(wall.locator("option:enabled").first).to_have_text("for 15 minutes")
    await expect(wall.locator('[part~="unpin"]')).to_be_hidden()
    await wall.get_by_role("button", name="It is open").click()
    await wall.get_by_role("button", name="Take back what was stated").click()
    await expect(wall.locator('[part="position"]')).to_have_text("Not known")


async def test_a_simulated_wall_is_stated_and_its_sensor_trusted_again(house: House, show: Opener) -> None:
    """A simulated wall is stated like a real one; its contact counts again when the pin is taken away."""
    plan = await show("/plan")
    wall = plan.page.get_by_role("group", name="West wall")
    await expect(wall.locator('[part="position"]')).to_contain_text("Closed, sensed")
    await wall.get_by_role("combobox").select_option(label="for an hour")
    await wall.get_by_role("button", name="It is open").click()
    await expect(wall.locator('[part="position"]')).to_contain_text("Open, stated by hand until")
    await wall.get_by_role("button", name="Trust the sensor again").click()
    await expect(wall.locator('[part="position"]')).to_contain_text("Closed, sensed")
    assert (await house.call("GET", "/partitions"))["partitions"]["heron-plover"]["trust"] == "sensed"


async def test_what_is_chosen_about_a_wall_stays_within_its_card(show: Opener) -> None:
    """On the technician's page, at the width of a laptop, and on a phone."""
    technician = await show("/technician", live=False)
    cards = technician.page.locator("rl-walls [part=pane]")
    await expect(cards).to_have_count(2)
    for width in (1280, 390):
        await technician.page.set_viewport_size({"width": width, "height": 800})
        for card in await cards.all():
            frame, choice = await card.bounding_box(), await card.get_by_role("combobox").bounding_box()
            assert frame is not None
            assert choice is not None
            assert choice["x"] + choice["width"] <= frame["x"] + frame["width"]
