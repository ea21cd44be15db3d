/** Overflows and radio microphones: what stands, what can be started and ended, and which zone a microphone is used in. */
import { make, setAll, setText } from "../../elements/dom.js";
import { refusalWords, words, zoneName } from "../../src/format.js";
import { flowWords } from "../../src/travel.js";
import { byId } from "../byid.js";

/**
 * @typedef {import("../../src/session.js").Session} Session
 * @typedef {import("../../src/types.js").Venue} Venue
 */

/**
 * @param {string} method
 * @param {string} path
 * @param {object} [body]
 */
async function send(method, path, body) {
  const note = byId("travel-note");
  setText(note, "");
  try {
    const answer = await fetch(`/api/v1/${path}`, { method, headers: { "content-type": "application/json" }, ...(body ? { body: JSON.stringify(body) } : {}) });
    if (!answer.ok) setText(note, refusalWords({ problem: await answer.json() }));
  } catch {
    setText(note, "The service cannot be reached; nothing was changed.");
  }
}

/**
 * @param {Session} session
 * @param {Venue} venue
 */
export function drawTravel(session, venue) {
  const { one_way: flows, microphones } = session.store.view;
  const radios = Object.entries(microphones).filter(([, each]) => each.radio);
  const configured = Object.entries(venue.overflows ?? {}).filter(([id]) => !(id in flows));
  const list = byId("travel-list");
  const key = JSON.stringify([flows, radios, configured.map(([id]) => id)]);
  // Somebody may be choosing in a list.
  if (list.dataset.key === key || list.contains(document.activeElement?.closest("select") ?? null)) return;
  list.dataset.key = key;
  setAll(byId("travel"), { hidden: radios.length + configured.length + Object.keys(flows).length === 0 });
  list.replaceChildren(
    ...Object.entries(flows).map(([id, flow]) => item(`${flow.name}: ${flowWords(venue, flow)}`, id, "End it", () => send("DELETE", `overflows/${id}`))),
    ...configured.map(([id, flow]) => {
      const text = `${flow.name || words(id)}: from ${zoneName(venue, flow.from)} to ${zoneName(venue, flow.to)}, one way. Not on.`;
      return item(text, id, "Start it", () => send("PUT", `overflows/${id}`));
    }),
    ...radios.map(([id, radio]) => radioItem(venue, id, radio)),
  );
}

/**
 * @param {string} text
 * @param {string} overflow
 * @param {string} key
 * @param {() => void} act
 */
function item(text, overflow, key, act) {
  const button = make("button", { type: "button", class: "plain", "data-overflow": overflow }, key);
  button.addEventListener("click", act);
  return make("li", {}, make("span", {}, text), " ", button);
}

/**
 * @param {Venue} venue
 * @param {string} id
 * @param {import("../../src/types.js").Microphone} radio
 */
function radioItem(venue, id, radio) {
  const select = /** @type {HTMLSelectElement} */ (make("select", { "data-microphone": id }));
  select.append(...radio.zones.map((zone) => make("option", { value: zone }, zoneName(venue, zone))));
  select.value = radio.zone;
  select.addEventListener("change", () => {
    const zone = select.value;
    select.value = radio.zone;
    select.blur();
    void send("PUT", `microphones/${id}`, { zone });
  });
  return make("li", {}, make("label", {}, `${radio.name}, used in `, select), " It is muted when it goes to another room.");
}
