/** What is abnormal now, the newest first: overrides that stand count as well. */
import { make, setAll } from "../../elements/dom.js";
import { clockTime, words } from "../../src/format.js";
import { overrideKind, overrideName, overrideWhere } from "../../src/overrides.js";
import { byId } from "../byid.js";

/**
 * @param {import("../../src/session.js").Session} session
 * @param {import("../../src/types.js").Venue} venue
 */
export function drawAlarms(session, venue) {
  const list = byId("alarm-list");
  const { alarms, overrides } = session.store.view;
  const standing = [
    ...Object.entries(alarms).map(([id, { since, text }]) => ({ name: id.split("/").map(words).join(": "), text, since })),
    ...Object.entries(overrides).map(([id, override]) => ({
      name: `${overrideKind(override)}: ${overrideName(overrides, id)}`,
      text: ["stands", overrideWhere(venue, override), override.why ? `(${override.why})` : ""].filter(Boolean).join(" "),
      since: override.since,
    })),
  ].sort((a, b) => b.since.localeCompare(a.since));
  const key = JSON.stringify([standing, session.store.seq >= 0]);
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  setAll(list, { "data-any": standing.length > 0 });
  list.replaceChildren(
    ...standing.map(({ name, text, since }) =>
      make("li", {}, make("b", {}, name), make("span", {}, text), make("time", { datetime: since }, `since ${clockTime(since, venue.venue.timezone)}`)),
    ),
    ...(standing.length === 0 && session.store.seq >= 0 ? [make("li", { class: "none" }, "None stands.")] : []),
  );
}
