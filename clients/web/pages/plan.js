/** The plan: every zone, group and wall, without linking to any. */
import "../roomlink.js";
import { make, makeSvg } from "../elements/dom.js";
import { capitalised, controllerName, listed, zoneName } from "../src/format.js";
import { byId, pageSession } from "./byid.js";
import { startHistory } from "./plan/history.js";

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
  const sentences = joined.map((group) => `${listed(group.map((zone) => zoneName(venue, zone)))} are one room${store.view.leads[group[0] ?? ""] ? `, led by ${controllerName(venue, store.view.leads[group[0] ?? ""] ?? "")}` : ""}.`);
  const key = JSON.stringify([store.seq >= 0, sentences]);
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

session.store.subscribe(["groups", "zones"], draw);
draw();
startHistory(session);
