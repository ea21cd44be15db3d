/** The way in: the venue's name, its plan and its panels. */
import { make } from "../elements/dom.js";
import { words, zoneName } from "../src/format.js";
import { byId } from "./byid.js";

/** The service names its pages in the service worker that it hands out; to ask for each would only make errors of those it lacks. */
async function showPages() {
  const answer = await fetch("/sw.js").catch(() => null);
  const kept = answer?.ok ? await answer.text() : "";
  for (const link of byId("pages").querySelectorAll("a")) {
    const item = link.closest("li");
    if (item?.hidden) item.hidden = !kept.includes(`"${link.getAttribute("href")}"`);
  }
}

void showPages();
try {
  const answer = await fetch("/api/v1/venue", { headers: { accept: "application/json" } });
  if (!answer.ok) throw new Error(`The service answered ${answer.status} ${answer.statusText}.`);
  /** @type {import("../src/types.js").Venue} */
  const venue = await answer.json();
  document.title = venue.venue.name;
  byId("venue").textContent = venue.venue.name;
  byId("panels").replaceChildren(
    ...Object.entries(venue.controllers).map(([id, controller]) =>
      make(
        "li",
        {},
        make(
          "a",
          { href: `/panel/${encodeURIComponent(id)}` },
          make("b", {}, controller.name || words(id)),
          make("span", {}, `At home in ${zoneName(venue, controller.home)}`),
        ),
      ),
    ),
  );
} catch (error) {
  byId("venue").textContent = "Panels";
  byId("trouble").hidden = false;
  byId("trouble").textContent = error instanceof TypeError ? "The service cannot be reached. Load this page again in a moment." : String(/** @type {Error} */ (error).message);
}
