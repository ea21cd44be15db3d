/** All venues of the cluster with the nodes that serve them, read again every few seconds. */
import { make } from "../elements/dom.js";
import { byId } from "./byid.js";

/**
 * @typedef {{name: string, address: string, writes: boolean, seq: number, ready: boolean, why: string, alarms: number}} Node
 * @typedef {Record<string, {name: string, nodes: Record<string, Node>}>} Venues
 */

const AGAIN_MS = 3000;

/** @param {Node} node */
function health(node) {
  if (!node.ready) return `Not ready: ${node.why}`;
  const alarms = node.alarms === 0 ? "no alarms" : node.alarms === 1 ? "1 alarm" : `${node.alarms} alarms`;
  return `${node.writes ? "Writes the venue" : "Follows"}, ${alarms}`;
}

/** @param {Venues} venues */
function show(venues) {
  const rows = Object.entries(venues).flatMap(([id, venue]) =>
    Object.entries(venue.nodes).map(([name, node]) =>
      make(
        "tr",
        {},
        make("th", { scope: "row" }, venue.name || id),
        make("td", {}, node.address ? make("a", { href: node.address }, name) : name),
        make("td", {}, health(node)),
      ),
    ),
  );
  const heads = ["Venue", "Node", "Health"].map((text) => make("th", { scope: "col" }, text));
  byId("venues").replaceChildren(
    make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)),
  );
}

async function look() {
  const trouble = byId("trouble");
  try {
    const answer = await fetch("/api/v1/venues", { headers: { accept: "application/json" } });
    if (!answer.ok) throw new Error(`The service answered ${answer.status} ${answer.statusText}.`);
    show((await answer.json()).venues);
    trouble.hidden = true;
  } catch (error) {
    trouble.hidden = false;
    trouble.textContent = error instanceof TypeError ? "The service cannot be reached; it is asked again." : String(/** @type {Error} */ (error).message);
  }
  setTimeout(look, AGAIN_MS);
}

await look();
