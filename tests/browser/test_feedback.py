"""What a panel shows of linked rooms that differ, under each policy."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

MINUS = "\N{MINUS SIGN}"
UNIT = "\N{NARROW NO-BREAK SPACE}dB"
APOSTROPHE = "\N{RIGHT SINGLE QUOTATION MARK}"
NONE = "\N{EM DASH}"

BROKEN = """
(cells) => cells.filter((cell) => {
  const range = document.createRange();
  range.selectNodeContents(cell);
  return range.getClientRects().length > 1 || cell.scrollWidth > cell.clientWidth;
}).map((cell) => cell.textContent)
"""
"""Options of one word that take more than one line."""

SHOWN = {
    "heron-wall": ("mismatch-flag", NONE, "", "Rooms differ", ""),
    "plover-wall": ("majority", f"{MINUS}30.0{UNIT}", "Laptop", "Tern differs", "Align all"),
    "desk": ("last-linked", f"{MINUS}10.0{UNIT}", "Camera", "Heron and Plover differ", "Align all"),
}
"""Controller: policy, level shown, option shown as on, the words, what the panel offers."""


@pytest.mark.parametrize("controller", SHOWN)
async def test_rooms_that_differ_are_shown_as_the_policy_says(house: House, show: Opener, controller: str) -> None:
    """Two rooms agree and the one linked last differs: each policy has its own value, and words name the outliers."""
    _, level, option, words, _ = SHOWN[controller]
    await _differ(house, controller)
    panel = await show(f"/panel/{controller}")
    await expect(panel.control("volume", "state")).to_have_text(level)
    for control in ("volume", "program", "mute"):
        await expect(panel.control(control, "words")).to_have_text(words)
    await expect(panel.control("mute", "toggle")).to_have_attribute("aria-pressed", "mixed")
    chosen = panel.control("program").locator('[aria-checked="true"]')
    await expect(chosen).to_have_text([option] if option else [])
    slider = panel.control("volume").get_by_role("slider")
    expected = "Rooms differ" if level == NONE else level
    await expect(slider).to_have_attribute("aria-valuetext", expected)


@pytest.mark.parametrize("controller", [name for name, shown in SHOWN.items() if shown[4]])
async def test_align_brings_the_rooms_together(house: House, show: Opener, controller: str) -> None:
    """One touch gives every linked room the values shown, and the words are gone."""
    await _differ(house, controller)
    panel = await show(f"/panel/{controller}")
    shown = float((await panel.control("volume").get_by_role("slider").get_attribute("aria-valuenow")) or "nan")
    await panel.page.locator('rl-status [part~="align"]').click()
    for control in ("volume", "program", "mute"):
        await expect(panel.control(control, "words")).to_have_text("")
    await expect(panel.page.locator('rl-status [part="mixed"]')).to_be_hidden()
    assert {await house.value(zone, "volume") for zone in ("heron", "plover", "tern")} == {shown}
    assert len({await house.value(zone, "program") for zone in ("heron", "plover", "tern")}) == 1


async def test_one_control_is_aligned_on_its_own(house: House, show: Opener) -> None:
    """The key at a control aligns that control and leaves the others as they differ."""
    await _differ(house, "plover-wall")
    panel = await show("/panel/plover-wall")
    await panel.control("volume", "align").click()
    await expect(panel.control("volume", "words")).to_have_text("")
    await expect(panel.control("program", "words")).to_have_text("Tern differs")
    assert await house.value("tern", "volume") == -30.0


async def test_without_a_common_value_one_touch_aligns_to_what_a_room_has(house: House, show: Opener) -> None:
    """Where no value is shown the panel says which room has what and offers each value, its own room's first."""
    await _differ(house, "heron-wall")
    panel = await show("/panel/heron-wall")
    await panel.control("volume", "align-open").click()
    own, others = f"{MINUS}30.0{UNIT}", f"{MINUS}10.0{UNIT}"
    await expect(panel.control("volume", "held")).to_have_text(f"Heron and Plover have {own}; Tern has {others}.")
    offers = panel.control("volume", "align-to")
    s = f"{APOSTROPHE}s"
    await expect(offers).to_have_text([f"All to Heron and Plover{s} {own}", f"All to Tern{s} {others}"])
    await offers.nth(1).click()
    await expect(panel.control("volume", "words")).to_have_text("")
    await expect(panel.control("volume", "align-open")).to_be_hidden()
    assert {await house.value(zone, "volume") for zone in ("heron", "plover", "tern")} == {-10.0}
    await panel.control("program", "align-open").click()
    await panel.control("program", "align-to").filter(has_text="Camera").click()
    await expect(panel.control("program").get_by_role("radio", name="Camera")).to_have_attribute("aria-checked", "true")
    assert {await house.value(zone, "program") for zone in ("heron", "plover", "tern")} == {"camera"}


async def test_without_a_common_value_no_plain_align_is_offered_and_setting_one_ends_it(
    house: House, show: Opener
) -> None:
    """Where no value is shown, none is aligned to unseen; a value set on the panel brings all together."""
    await _differ(house, "heron-wall")
    panel = await show("/panel/heron-wall")
    await expect(panel.control("volume", "words")).to_have_text("Rooms differ")
    await expect(panel.control("volume", "align")).to_be_hidden()
    await expect(panel.page.locator('rl-status [part~="align"]')).to_be_hidden()
    await panel.control("volume").get_by_role("slider").press("Home")
    await expect(panel.control("volume", "words")).to_have_text("")
    await expect(panel.control("volume", "state")).to_have_text(f"{MINUS}60.0{UNIT}")


@pytest.mark.parametrize("size", [(1024, 768), (1280, 800), (800, 1280)])
async def test_the_word_of_a_chosen_option_stays_whole(house: House, show: Opener, size: tuple[int, int]) -> None:
    """On a screen of 10 inches no option breaks within a word, whether it is chosen or not, of one room or of three."""
    await house.set("heron", program="camera")
    panel = await show("/panel/heron-wall")
    await panel.page.set_viewport_size({"width": size[0], "height": size[1]})
    radios = panel.control("program").get_by_role("radio")
    await expect(panel.control("program").get_by_role("radio", name="Camera")).to_have_attribute("aria-checked", "true")
    assert await radios.evaluate_all(BROKEN) == []
    for wall in ("heron-plover", "plover-tern"):
        await house.call("PUT", f"/partitions/{wall}", {"position": "open", "pin": 3600})
    await expect(radios).to_have_count(10)
    assert await radios.evaluate_all(BROKEN) == []


async def _differ(house: House, controller: str) -> None:
    """Heron and Plover agree; Tern differs, and is linked last."""
    await house.set("heron", program="laptop", volume=-30, mute=True)
    await house.set("plover", program="laptop", volume=-30, mute=True)
    await house.set("tern", program="camera", volume=-10, mute=False)
    await house.link(controller, "heron", "plover", "tern")
