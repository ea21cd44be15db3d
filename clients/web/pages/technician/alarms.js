/** What is abnormal now: the newest first. */
import { make, setAll } from "../../elements/dom.js";
import { clockTime, words } from "../../src/format.js";
import { byId } from "../byid.js";

/**
 * @param {import("../../src/session.js").Session} session
 * @param {import("../../src/types.js").Venue} venue
 */
export function drawAlarms(session, venue) {
  const list = byId("alarm-list");
  const standing = Object.entries(session.store.view.alarms).sort(([, a], [, b]) => b.since.localeCompare(a.since));
  const key = JSON.stringify([standing, session.store.seq >= 0]);
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  setAll(list, { "data-any": standing.length > 0 });
  list.replaceChildren(
    ...standing.map(([name, { since, text }]) =>
      make("li", {}, make("b", {}, name.split("/").map(words).join(": ")), make("span", {}, text), make("time", { datetime: since }, `since ${clockTime(since, venue.venue.timezone)}`)),
    ),
    ...(standing.length === 0 && session.store.seq >= 0 ? [make("li", { class: "none" }, "None stands.")] : []),
  );
}
