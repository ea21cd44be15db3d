/** The plan: every zone, group and wall, without linking to any. */
import "../roomlink.js";
import { make, makeSvg } from "../elements/dom.js";
import { capitalised, listed, refusalWords, zoneName } from "../src/format.js";
import { byId, pageSession } from "./byid.js";

const session = pageSession();
const zones = byId("zones");
const groups = byId("groups");

function draw() {
  const { venue, store } = session;
  if (!venue) return;
  byId("venue").textContent = venue.venue.name;
  byId("here").textContent = "Plan";
  document.title = `Plan, ${venue.venue.name}`;
  const ids = Object.keys(venue.zones);
  if (zones.dataset.key !== ids.join()) {
    zones.dataset.key = ids.join();
    zones.replaceChildren(
      ...ids.map((zone) => {
        const card = document.createElement("rl-zone");
        card.setAttribute("zone", zone);
        return card;
      }),
    );
  }
  const joined = store.view.groups.filter((group) => group.length > 1);
  const sentences = joined.map((group) => `${listed(group.map((zone) => zoneName(venue, zone)))} are one room.`);
  const key = sentences.join("\n");
  if (groups.dataset.key === key) return;
  groups.dataset.key = key;
  groups.replaceChildren(
    ...(joined.length === 0 && store.seq >= 0 ? [make("li", {}, "Every room is on its own.")] : []),
    ...sentences.map((words, i) => make("li", {}, sample(i), capitalised(words))),
  );
}

/**
 * The outline of a group as the plan draws it.
 * @param {number} i
 */
function sample(i) {
  const looks = ["", "18 7", "4 6", "18 5 4 5"];
  const line = makeSvg("path", { d: "M0 5H64", "stroke-width": "5", "stroke-dasharray": looks[i % looks.length] ?? "" });
  line.style.stroke = `var(--rl-group-${"abcd"[i % looks.length]})`;
  return makeSvg("svg", { viewBox: "0 0 64 10", "aria-hidden": "true" }, line);
}

/**
 * Shows the place as the journal has it at an instant of this device's time.
 * @param {string} local
 */
async function lookBack(local) {
  const at = new Date(local);
  const past = byId("past");
  past.hidden = false;
  try {
    const answer = await fetch(`/api/v1/state?at=${encodeURIComponent(at.toISOString())}`);
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.detail || body.title);
    session.store.lookBack(body);
    byId("now").hidden = false;
    past.textContent = `This is the past: ${at.toLocaleString("en-GB")}. What happens now is not shown.`;
  } catch (error) {
    past.textContent = `${refusalWords(error)} This is still the present.`;
  }
}

byId("back").addEventListener("submit", (event) => {
  event.preventDefault();
  void lookBack(/** @type {HTMLInputElement} */ (byId("when")).value);
});
byId("now").addEventListener("click", () => {
  session.store.lookBack(null);
  byId("now").hidden = true;
  byId("past").hidden = true;
});

session.store.subscribe(["groups", "zones"], draw);
draw();
