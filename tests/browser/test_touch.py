"""Fingers: several at once, and ones that rest."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House, eventually, middle

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

STEPS = 12
REST_MS = 300
"""Longer than a tap."""


async def test_two_fingers_move_two_levels_at_once(house: House, show: Opener) -> None:
    """One finger goes up on the volume while another goes down on the house lights; both arrive."""
    panel = await show("/panel/heron-wall", has_touch=True)
    cdp = await panel.cdp()
    volume, lights = panel.control("volume", "track"), panel.control("house", "track")
    await lights.scroll_into_view_if_needed()
    fingers = [{**await middle(volume, 0.4), "id": 1}, {**await middle(lights, 0.6), "id": 2}]
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": fingers[:1]})
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": fingers})
    for _ in range(STEPS):
        fingers[0]["x"] += 6
        fingers[1]["x"] -= 6
        await cdp.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": fingers})
    for control in ("volume", "house"):
        await expect(panel.control(control)).to_have_attribute("data-asked", "")
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    for control in ("volume", "house"):
        await expect(panel.control(control)).not_to_have_attribute("data-asked", "")
    assert await house.value("heron", "volume") > -30
    assert await house.value("heron", "house") < 50


async def test_a_finger_moves_a_level_by_as_much_as_it_moves(house: House, show: Opener) -> None:
    """Put down anywhere on the track, it does not make the level jump there."""
    panel = await show("/panel/heron-wall", has_touch=True)
    cdp = await panel.cdp()
    track = panel.control("volume", "track")
    finger = {**await middle(track, 0.9), "id": 1}
    box = await track.bounding_box()
    assert box is not None
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [finger]})
    for _ in range(STEPS):
        finger["x"] -= box["width"] / 4 / STEPS
        await cdp.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [finger]})
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    async def there() -> bool:
        return bool(-45.6 <= await house.value("heron", "volume") <= -44.4)

    # A quarter of 60 dB down: the first pixels count as well. The last of several orders is the last to be answered.
    await eventually(there, "the level does not become a quarter less")


async def test_a_tap_sets_a_level_where_it_touches(house: House, show: Opener) -> None:
    """A short touch that does not move means the place that it touches."""
    panel = await show("/panel/heron-wall", has_touch=True)
    cdp = await panel.cdp()
    start = await middle(panel.control("volume", "track"), 0.75)
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [start]})
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    await expect(panel.control("volume").get_by_role("slider")).not_to_have_attribute("aria-valuenow", "-30")
    await expect(panel.control("volume")).not_to_have_attribute("data-asked", "")
    assert -15.6 <= await house.value("heron", "volume") <= -14.4


async def test_a_resting_finger_moves_nothing(house: House, show: Opener) -> None:
    """A finger that lies there and trembles by a few pixels orders nothing at all; the browser itself times it."""
    panel = await show("/panel/heron-wall", has_touch=True)
    cdp = await panel.cdp()
    before = (await house.call("GET", "/state"))["seq"]
    start = await middle(panel.control("volume", "track"), 0.8)
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [start]})
    for tremble in (2, 4, 1, -2, 3, 0):
        point = {"x": start["x"] + tremble, "y": start["y"] + tremble / 2}
        await cdp.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    await panel.page.wait_for_timeout(REST_MS)
    await cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    # The press that follows is the next entry: nothing came before it.
    await panel.control("mute", "toggle").click()
    await house.until_value("heron", "mute", False)
    assert await house.value("heron", "volume") == -30
    assert (await house.call("GET", "/state"))["seq"] == before + 1
