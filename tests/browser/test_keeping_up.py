"""A finger on a slider while many watch."""

from __future__ import annotations

import asyncio
import json
from contextlib import AsyncExitStack
from typing import Any

import pytest
from playwright.async_api import expect
from websockets.asyncio.client import ClientConnection

from tests.api.harness import WITHIN_S
from tests.browser.conftest import Opener
from tests.browser.harness import House, middle

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

WATCHERS = 50
MOVES = 120
MOVES_A_SECOND = 60

# Notes every order that leaves the page, how many were unanswered at once, and when the finger moved last.
TAP = """
window.tap = { most: 0, orders: [], moved: 0 };
addEventListener("pointermove", () => (tap.moved = performance.now()), true);
window.WebSocket = class extends WebSocket {
  constructor(...given) {
    super(...given);
    this.unanswered = new Set();
    this.addEventListener("message", (event) => this.unanswered.delete(JSON.parse(event.data).id));
  }
  send(text) {
    const message = JSON.parse(text);
    if (message.type === "act") {
      this.unanswered.add(message.id);
      tap.most = Math.max(tap.most, this.unanswered.size);
      tap.orders.push({ at: performance.now(), value: message.value });
    }
    super.send(text);
  }
};
"""


async def test_a_slider_keeps_up_with_a_finger_while_fifty_watch(house: House, show: Opener) -> None:
    """Sixty moves a second: no orders pile up, hardly any is sent after the last move, and all see the last value."""
    panel = await show("/panel/heron-wall", init=TAP)
    async with AsyncExitStack() as stack:
        watchers = [await stack.enter_async_context(house.served.socket("/watch")) for _ in range(WATCHERS)]
        listening = [asyncio.create_task(_last_volume(watcher, -50.0)) for watcher in watchers]
        track = panel.control("volume", "track")
        start, end = await middle(track, 0.2), await middle(track, 0.7)
        await panel.page.mouse.move(start["x"], start["y"])
        await panel.page.mouse.down()
        loop = asyncio.get_running_loop()
        began = loop.time()
        for move in range(1, MOVES + 1):
            part = move / MOVES
            await panel.page.mouse.move(start["x"] + part * (end["x"] - start["x"]), start["y"])
            # This is the finger's pace, not a wait for anything.
            await asyncio.sleep(max(0.0, began + move / MOVES_A_SECOND - loop.time()))
        await panel.page.mouse.up()
        await expect(panel.control("volume")).not_to_have_attribute("data-asked", "")
        shown = float(await track.get_attribute("aria-valuenow") or "nan")
        assert await house.value("heron", "volume") == shown
        assert shown > -5  # from -30 by half of 60 dB, less the few pixels that a drag needs to start
        tap: dict[str, Any] = await panel.page.evaluate("tap")
        assert tap["orders"][-1]["value"] == shown
        assert tap["most"] == 1
        assert len([order for order in tap["orders"] if order["at"] > tap["moved"]]) <= 2
        await house.set("heron", volume=-50)
        async with asyncio.timeout(WITHIN_S):
            heard = await asyncio.gather(*listening)
        assert [values[-2:] for values in heard] == [[shown, -50.0]] * WATCHERS


async def _last_volume(watcher: ClientConnection, last: float) -> list[float]:
    """All values of Heron's volume that a watcher is told, until this one."""
    values: list[float] = []
    async for text in watcher:
        message = json.loads(text)
        control = message.get("zones", {}).get("heron", {}).get("controls", {}).get("volume")
        if message["type"] == "change" and control:
            values.append(control["value"])
            if control["value"] == last:
                break
    return values
