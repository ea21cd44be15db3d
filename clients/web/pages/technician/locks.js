/** Locking a room, a panel or some controls of either, until a time, with a PIN that lets go of it again. */
import { make, setText } from "../../elements/dom.js";
import { controllerName, controlName, listed, refusalWords, zoneName } from "../../src/format.js";
import { lockBody, lockKey } from "../../src/locks.js";
import { byId } from "../byid.js";

/**
 * @typedef {import("../../src/session.js").Session} Session
 * @typedef {import("../../src/types.js").Venue} Venue
 */

/**
 * @param {Session} session
 * @param {Venue} venue
 */
export function startLocks(session, venue) {
  const form = /** @type {HTMLFormElement} */ (byId("lock-form"));
  const what = /** @type {HTMLSelectElement} */ (byId("lock-what"));
  const controls = /** @type {HTMLSelectElement} */ (byId("lock-controls"));
  const note = byId("lock-note");
  const group = (/** @type {string} */ label, /** @type {[string, string][]} */ options) => make("optgroup", { label }, ...options.map(([value, text]) => make("option", { value }, text)));
  what.replaceChildren(
    group("Rooms", Object.keys(venue.zones).map((id) => [`zone ${id}`, zoneName(venue, id)])),
    group("Panels", Object.keys(venue.controllers).map((id) => [`controller ${id}`, controllerName(venue, id)])),
  );
  const offer = () => {
    const [kind = "", id = ""] = what.value.split(" ");
    const home = kind === "zone" ? id : venue.controllers[id]?.home ?? "";
    controls.replaceChildren(...Object.entries(venue.zones[home]?.controls ?? {}).map(([name, spec]) => make("option", { value: name }, controlName(name, spec))));
    controls.size = Math.min(4, controls.options.length);
  };
  what.addEventListener("change", offer);
  offer();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = new FormData(form);
    const body = lockBody(what.value, [...controls.selectedOptions].map((option) => option.value), given);
    setText(note, "");
    try {
      await session.put(`locks/${encodeURIComponent(lockKey(session.store.view.locks, String(given.get("name") ?? ""), what.value))}`, body);
      form.reset();
      offer();
      setText(note, `Locked. ${body.pin ? "Whoever has the PIN releases it at a panel, and whoever may manage releases it here." : "Whoever may manage releases it, above on this page."}`);
    } catch (error) {
      setText(note, refusalWords(error));
    }
  });
  setText(byId("lock-how"), `It stands above panels, diary and walls, and below ${listed(["overrides", "whatever is hard-wired"])}.`);
}
