"""Overflows, microphones and the venue's sources, as people see them on panels, plan and technician page."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import QUAY, House
from tests.browser.pages import AXE, AXE_RUN, SMALL_TARGETS, TARGET_PX, THEMES

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

TRAVELLING = """
venue_sources: {music: {name: Background music, carries: sound}}
overflows: {late: {name: Late-comers, from: heron, to: tern}}
microphones:
  lectern: {zone: heron, at: [6, 2], mute: {}}
  handheld: {name: Hand-held, zone: heron, radio: true, zones: [heron, plover], mute: {}}
"""


@pytest.fixture
def venue_text() -> str:
    """Quay House with an overflow that has a name, and two microphones."""
    return QUAY + TRAVELLING


async def test_both_panels_say_in_words_what_flows_over(house: House, show: Opener) -> None:
    """Each from where it hangs; a third says nothing; the plan draws an arrow with its words.

    Microphones say where they are heard, where that is more than their own room.
    """
    heron, tern = (await show("/panel/heron-wall")).page, (await show("/panel/tern-wall")).page
    plover, plan = (await show("/panel/plover-wall")).page, (await show("/plan")).page
    await house.call("PUT", "/overflows/late")
    await expect(tern.locator("rl-status [part=flows]")).to_have_text("This room hears and sees Heron, one way.")
    await expect(heron.locator("rl-status [part=flows]")).to_contain_text("Tern hears and sees this room, one way.")
    await expect(heron.locator("rl-status [part=flows]")).to_contain_text(
        "Lectern and Hand-held: heard in Heron and Tern"
    )
    await expect(plover.locator("rl-status [part=flows]")).to_have_text("")
    await expect(plan.locator("rl-plan [part=zone][data-zone=tern]")).to_contain_text("hears and sees Heron")
    await expect(plan.locator("rl-plan path.arrow")).to_have_attribute("data-to", "tern")
    await expect(tern.locator("rl-choice[control=program] [data-option='heron/laptop']")).to_be_visible()
    await house.call("DELETE", "/overflows/late")
    await expect(tern.locator("rl-status [part=flows]")).to_have_text("")
    await expect(plan.locator("rl-plan path.arrow")).to_have_count(0)
    await expect(tern.locator("rl-choice[control=program] [data-option='heron/laptop']")).to_have_count(0)


async def test_what_belongs_to_the_venue_is_chosen_like_any_source(house: House, show: Opener) -> None:
    """Under its own name and heading, and it stays when walls move."""
    page = (await show("/panel/plover-wall")).page
    music = page.locator("rl-choice[control=program] [data-option='venue/music']")
    await expect(music).to_have_text("Background music")
    await music.click()
    await expect(music).to_have_attribute("aria-checked", "true")
    assert (await house.call("GET", "/zones/plover"))["controls"]["program"]["value"] == "venue/music"


async def test_a_technician_starts_an_overflow_and_moves_a_microphone(house: House, show: Opener) -> None:
    """With what it does beside it; the microphone's key is on the panel of the room where it is used."""
    page = (await show("/technician")).page
    heron, plover = (await show("/panel/heron-wall")).page, (await show("/panel/plover-wall")).page
    mute = "rl-switch[control=handheld-mute]"
    await expect(heron.locator(mute)).to_have_count(1)
    await expect(plover.locator(mute)).to_have_count(0)
    await page.locator("[data-overflow=late]").click()
    await expect(page.locator("#travel-list")).to_contain_text("Late-comers: Tern hears and sees Heron, one way.")
    await page.locator("[data-overflow=late]").click()
    await expect(page.locator("#travel-list")).to_contain_text("Not on.")
    await page.locator("select[data-microphone=handheld]").select_option("plover")
    await expect(plover.locator(mute)).to_have_count(1)
    await expect(heron.locator(mute)).to_have_count(0)
    await expect(page.locator("select[data-microphone=handheld]")).to_have_value("plover")
    await expect(page.locator("#journal-table")).to_contain_text("Handheld is used in Plover")


@pytest.mark.parametrize("theme", THEMES)
async def test_all_of_it_is_for_everybody(house: House, show: Opener, theme: str) -> None:
    """Contrast, names and sizes, in either theme, with an overflow that stands."""
    await house.call("PUT", "/overflows/late")
    for path, shown in (("/technician", "#travel-list li"), ("/panel/tern-wall", "[part=flows]")):
        page = (await show(path, init=f'localStorage.setItem("roomlink.theme", "{theme}")')).page
        await expect(page.locator(shown).first).to_be_visible()
        await page.evaluate(AXE.read_text("utf-8"))
        assert await page.evaluate(AXE_RUN) == []
        assert await page.evaluate(SMALL_TARGETS, TARGET_PX) == []
