/** The way in: the venue's name, its plan and its panels. */
import { make } from "../elements/dom.js";
import { countWords } from "../src/alarms.js";
import { words, zoneName } from "../src/format.js";
import { byId } from "./byid.js";

/** @typedef {import("../src/types.js").Venue} Venue */

try {
  const answer = await fetch("/api/v1/venue", { headers: { accept: "application/json" } });
  if (!answer.ok) throw new Error(`The service answered ${answer.status} ${answer.statusText}.`);
  /** @type {Venue} */
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
  const found = await (await fetch("/api/v1/alarms", { headers: { accept: "application/json" } })).json();
  const count = countWords(found.alarms ?? []);
  if (count) byId("alarm-count").textContent = count;
} catch (error) {
  byId("venue").textContent = "Panels";
  byId("trouble").hidden = false;
  byId("trouble").textContent = error instanceof TypeError ? "The service cannot be reached. Load this page again in a moment." : String(/** @type {Error} */ (error).message);
}
