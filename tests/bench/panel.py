"""From a press on a panel to its painted feedback, in frames of the browser, beside a bare button on the same page.

"Asked" is the hatching that says that the press was taken; "done" is what the service made of it, durable. A frame
count of 1 means painted in the frame that the press came in. Run with ``python -m tests.bench panel``.
"""

from __future__ import annotations

import asyncio
import shutil
import statistics
import tempfile
from pathlib import Path
from typing import Any

from playwright.async_api import Locator, Page, async_playwright, expect

from tests.api.harness import Served, write_venue
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


async def _press(page: Page, target: Locator) -> dict[str, list[list[float]]]:
    """Press many times, each after the last one was answered."""
    await target.evaluate(TAP)
    for _ in range(PRESSES):
        before = await target.get_attribute("aria-pressed")
        await target.click()
        await expect(target).not_to_have_attribute("aria-pressed", before or "")
    found: dict[str, list[list[float]]] = await page.evaluate("tap")
    return found


def _say(what: str, taken: list[list[float]]) -> None:
    frames = [frame for frame, _ in taken]
    took = [ms for _, ms in taken]
    slow = statistics.quantiles(took, n=20)[-1]
    print(
        f"{what:36} median {statistics.median(frames):3.0f} frame(s), at most {max(frames):3.0f};"
        f" median {statistics.median(took):6.1f} ms, 19 of 20 within {slow:6.1f} ms"
    )


async def measure() -> dict[str, Any]:
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
                floor = await _press(page, page.locator("#bare"))
                panel = await _press(page, page.locator('[control="mute"] [part~="toggle"]'))
                await browser.close()
        finally:
            await asyncio.to_thread(served.stop)
    return {"bare": floor["done"], "asked": panel["asked"], "done": panel["done"]}


def main() -> None:
    taken = asyncio.run(measure())
    print(f"{PRESSES} presses, one after the other")
    _say("a bare button's own change", taken["bare"])
    _say("a panel's press, shown as asked", taken["asked"])
    _say("a panel's press, durable and shown", taken["done"])


if __name__ == "__main__":
    main()
