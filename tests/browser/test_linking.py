"""Linking rooms on the plan, and one press for all of them."""

from __future__ import annotations

import asyncio

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def test_a_press_reaches_both_rooms_that_were_linked_on_the_plan(house: House, show: Opener) -> None:
    """Touching a second room on the plan links it, and one press then changes both."""
    panel = await show("/panel/heron-wall")
    await panel.shows_rooms("Heron")
    await panel.zone("plover").click()
    await panel.shows_rooms("Heron and Plover")
    await expect(panel.zone("plover")).to_have_attribute("aria-pressed", "true")
    await panel.control("mute", "toggle").click()
    await expect(panel.control("mute", "toggle")).to_have_attribute("aria-pressed", "false")
    assert [await house.value(zone, "mute") for zone in ("heron", "plover", "tern")] == [False, False, True]


async def test_panels_of_the_same_rooms_track_each_other(house: House, show: Opener) -> None:
    """What one panel does is seen on another panel of the same controller and on the panel of a linked room."""
    first, second, plover = await asyncio.gather(
        show("/panel/heron-wall"), show("/panel/heron-wall"), show("/panel/plover-wall")
    )
    await first.zone("plover").click()
    await second.shows_rooms("Heron and Plover")
    await expect(plover.zone("plover")).to_contain_text("Heron wall")
    await first.control("program").get_by_role("radio", name="Laptop").click()
    for panel in (second, plover):
        laptop = panel.control("program").get_by_role("radio", name="Laptop")
        await expect(laptop).to_have_attribute("aria-checked", "true")
    await plover.control("mute", "toggle").click()
    for panel in (first, second):
        await expect(panel.control("mute", "toggle")).to_have_attribute("aria-pressed", "mixed")


async def test_unlinking_leaves_the_rooms_as_they_are(house: House, show: Opener) -> None:
    """After all is unlinked the rooms keep their values, and the panel says that it works on none."""
    panel = await show("/panel/heron-wall")
    await panel.zone("plover").click()
    await panel.shows_rooms("Heron and Plover")
    await panel.control("volume").get_by_role("slider").press("End")
    await house.until_value("plover", "volume", 0.0)
    await panel.zone("plover").click()
    await panel.shows_rooms("Heron")
    await panel.page.get_by_role("button", name="Unlink all").click()
    await panel.shows_rooms("No room")
    await expect(panel.control("volume", "words")).to_have_text("No room linked")
    assert [await house.value(zone, "volume") for zone in ("heron", "plover")] == [0.0, 0.0]
    assert (await house.call("GET", "/zones/heron"))["linked_by"] == ["desk"]


async def test_a_room_can_be_linked_with_the_keyboard_alone(show: Opener) -> None:
    """The plan's rooms are buttons: focus and Enter do what a touch does."""
    panel = await show("/panel/heron-wall")
    await panel.zone("tern").focus()
    await panel.page.keyboard.press("Enter")
    await panel.shows_rooms("Heron and Tern")
