"""From a press on a panel to its painted feedback, in frames of the browser, beside a bare button on the same page.

"Asked" is the hatching that says that the press was taken; "done" is what the service made of it, durable. A frame
count of 1 means painted in the frame that the press came in. Run with ``python -m tests.bench panel``.
"""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path
from typing import Any

from playwright.async_api import Locator, Page, async_playwright, expect

from tests.api.harness import Served, write_venue
from tests.bench._figures import Figure, Found, quick
from tests.browser.conftest import FLAGS, SIZE
from tests.browser.harness import QUAY

PRESSES = 60

# Notes when a press comes, and for each change that follows the frame in which it is there to be painted.
TAP = """
(target) => {
  window.tap = { asked: [], done: [] };
  target.addEventListener("click", () => {
    const start = performance.now(), before = target.getAttribute("aria-pressed");
    let frame = 0, asked = false;
    const look = () => {
      frame += 1;
      const done = target.getAttribute("aria-pressed") !== before;
      if (!asked && (done || target.hasAttribute("data-asked"))) {
        asked = true;
        tap.asked.push([frame, performance.now() - start]);
      }
      if (done) tap.done.push([frame, performance.now() - start]);
      else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  }, true);
}
"""

BARE = """
() => {
  const bare = document.createElement("button");
  bare.id = "bare";
  bare.setAttribute("aria-pressed", "false");
  bare.textContent = "bare";
  const pressed = () => bare.getAttribute("aria-pressed") === "true";
  bare.addEventListener("click", () => bare.setAttribute("aria-pressed", String(!pressed())));
  document.querySelector(".top").prepend(bare);
}
"""


async def _press(page: Page, target: Locator, presses: int) -> dict[str, list[list[float]]]:
    """Press many times, each after the last one was answered."""
    await target.evaluate(TAP)
    for _ in range(presses):
        before = await target.get_attribute("aria-pressed")
        await target.click()
        await expect(target).not_to_have_attribute("aria-pressed", before or "")
    found: dict[str, list[list[float]]] = await page.evaluate("tap")
    return found


async def measure(presses: int) -> dict[str, Any]:
    """The taken times of a bare button (the floor) and of a panel's switch, as ``[frames, ms]`` a press."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = write_venue(Path(scratch) / "quay", QUAY)
        served = await asyncio.to_thread(Served, folder, Path(scratch) / "data")
        try:
            async with async_playwright() as playwright:
                browser = await playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
                page = await browser.new_page(viewport={"width": SIZE[0], "height": SIZE[1]})
                await page.goto(f"{served.url}/panel/heron-wall")
                await expect(page.locator('rl-status [part="connection"]')).to_have_text("Live")
                await page.evaluate(BARE)
                floor = await _press(page, page.locator("#bare"), presses)
                panel = await _press(page, page.locator('[control="mute"] [part~="toggle"]'), presses)
                await browser.close()
        finally:
            await asyncio.to_thread(served.stop)
    return {"bare": floor["done"], "asked": panel["asked"], "done": panel["done"]}


def main() -> list[Found]:
    taken = asyncio.run(measure(5 if quick() else PRESSES))
    frames = {name: [frame for frame, _ in found] for name, found in taken.items()}
    seconds = {name: [ms / 1e3 for _, ms in found] for name, found in taken.items()}
    bare = "a bare button on the same page"
    asked, done = "A press in a browser, shown as asked", "A press in a browser, durable and shown"
    return [
        Figure(f"{asked}: frames", "", frames["asked"], bare, frames["bare"], 1.0, paired=False),
        Figure(asked, "ms", seconds["asked"], bare, seconds["bare"], paired=False),
        Figure(f"{done}: frames", "", frames["done"], bare, frames["bare"], paired=False),
        Figure(done, "ms", seconds["done"], bare, seconds["bare"], paired=False),
    ]
