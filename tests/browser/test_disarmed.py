"""Power that nobody armed, a panel that is locked, and the first scene of a place, as panels show them."""

from __future__ import annotations

import pytest
from playwright.async_api import expect

from tests.browser.conftest import Opener
from tests.browser.harness import House

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

VENUE = """
venue: {id: quay, name: Quay House, timezone: Europe/Lisbon}
zone_types:
  section:
    controls:
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: -30}
      lamp: {kind: switch, scope: local}
zones:
  heron: {type: section, outline: [[0, 0], [12, 0], [12, 15], [0, 15]]}
  plover: {type: section, outline: [[12, 0], [24, 0], [24, 15], [12, 15]]}
partitions: {heron-plover: {between: [heron, plover], line: [[12, 0], [12, 15]], settle: 0s}}
controllers: {heron-wall: {home: heron}, plover-wall: {home: plover}}
combining: {lead_order: [heron-wall, plover-wall], others: lock, blend: 0s}
devices: {relays: {driver: simulated}}
bindings: [{control: heron.lamp, device: relays, point: {name: lamp}, class: power, on_loss: holds}]
"""


@pytest.fixture
def venue_text() -> str:
    return VENUE


async def test_a_disarmed_output_is_said_and_is_not_drawn_as_confirmed(house: House, show: Opener) -> None:
    """On its panel until somebody arms it; on the technician's page as disarmed, which is nothing abnormal."""
    panel, technician = await show("/panel/heron-wall"), await show("/technician", live=False)
    await expect(panel.control("lamp", "disarmed")).to_have_text("Disarmed: nothing is sent")
    await expect(panel.control("lamp")).to_have_attribute("data-disarmed", "")
    await expect(panel.control("volume", "disarmed")).to_have_text("")
    cell = technician.page.locator('#device-table td[data-head="Standing"]')
    await expect(cell).to_have_text("disarmed")
    await expect(cell).not_to_have_attribute("data-differs", "")
    await house.call("POST", "/bindings/heron.lamp/arm", {"who": "A. Technician", "note": "seen on site"})
    await panel.page.reload()
    await expect(panel.control("lamp")).to_be_visible()
    await expect(panel.control("lamp")).not_to_have_attribute("data-disarmed", "")


async def test_a_locked_panel_offers_no_linking(house: House, show: Opener) -> None:
    """While another panel is in charge neither the rooms nor the key below them look as if they could be used."""
    await house.call("PUT", "/partitions/heron-plover", {"position": "open", "pin": 3600})
    panel, lead = await show("/panel/plover-wall"), await show("/panel/heron-wall")
    await expect(panel.page.get_by_role("button", name="Unlink all")).to_have_attribute("aria-disabled", "true")
    await expect(panel.zone("heron")).to_have_attribute("aria-disabled", "true")
    await expect(panel.page.locator("rl-links .hint")).to_contain_text("Heron wall is in charge")
    await expect(lead.control("lamp", "toggle")).to_contain_text("Lamp, Heron")


async def test_the_first_scene_that_is_saved_comes_up_on_panels(house: House, show: Opener) -> None:
    """Without loading the page anew, and without drawing anew what is there."""
    panel = await show("/panel/heron-wall")
    await expect(panel.page.locator("rl-scenes")).to_have_count(0)
    body = {"zone": "heron", "values": {"volume": -40}}
    url = f"{house.url}/api/v1/scenes/dinner"
    (await house.http.put(url, json=body, headers={"If-None-Match": "*"})).raise_for_status()
    await expect(panel.page.locator('[part="scene"]')).to_have_text("Dinner")
