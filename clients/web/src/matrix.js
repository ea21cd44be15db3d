/**
 * The whole venue in two tables: who is linked where and why, and what each zone's controls are, with those marked that
 * a panel shows as differing.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Value} Value
 * @typedef {import("./store.js").View} View
 */
import { controllerName, controlName, duckedWords, listed, optionName, personWords, valueWords } from "./format.js";
import { isUnderWay, shownLevel } from "./trajectory.js";

const REASONS = /** @type {Record<string, string>} */ ({ home: "home", hand: "by hand", combining: "walls open", booking: "booking" });

/**
 * One row a controller: its part in its group (alone it has none), and for each zone why it is linked.
 * @param {Venue} venue
 * @param {View} view
 * @returns {{id: string, name: string, standing: string, cells: {zone: string, text: string, linked: boolean}[]}[]}
 */
export function linkMatrix(venue, view) {
  return Object.entries(venue.controllers).map(([id, { home }]) => {
    const face = view.controllers[id];
    const standing = face?.locked ? `locked by ${face.locked.lock === undefined ? controllerName(venue, face.locked.by) : personWords(venue, face.locked.by)}` : face?.lead && (view.zones[home]?.group.length ?? 0) > 1 ? "lead" : "";
    const cells = Object.keys(venue.zones).map((zone) => {
      const link = face?.links.find((each) => each.zone === zone);
      const pickup = link?.pickup?.length ? [`${listed(link.pickup.map((control) => controlName(control, venue.zones[zone]?.controls[control])))} to be met`] : [];
      const why = (link?.reasons ?? (link ? [link.by] : [])).map((reason) => REASONS[reason] ?? reason);
      return { zone, linked: !!link, text: [...why, ...pickup].join(", ") };
    });
    return { id, name: controllerName(venue, id), standing, cells };
  });
}

/** @typedef {{control: string, text: string, differs: string[], overridden: string, moving: boolean}} ValueCell */

/**
 * One row a zone, one column a control; null where a zone lacks the control. `differs` names the panels on which the zone
 * is an outlier.
 * @param {Venue} venue
 * @param {View} view
 * @param {number} nowMs  the service's milliseconds since 1970
 * @returns {{columns: {control: string, name: string}[], rows: {zone: string, cells: (ValueCell | null)[]}[]}}
 */
export function valueMatrix(venue, view, nowMs) {
  const columns = new Map(Object.values(venue.zones).flatMap((zone) => Object.entries(zone.controls).map(([control, spec]) => [control, controlName(control, spec)])));
  const differing = outliers(view);
  const rows = Object.entries(venue.zones).map(([zone, { controls }]) => ({
    zone,
    cells: [...columns.keys()].map((control) => {
      const spec = controls[control];
      if (!spec) return null;
      const now = view.zones[zone]?.controls?.[control];
      const moving = isUnderWay(now?.moving, nowMs);
      const value = spec.kind === "level" ? shownLevel(now, nowMs) : now?.value ?? null;
      const text = !now ? "\u2014" : now.pending != null ? `${pendingWords(venue, now.pending)}, asked` : [valueWords(venue, spec, value), duckedWords(spec, now)].filter(Boolean).join("; ");
      const differs = (differing.get(`${zone} ${control}`) ?? []).map((controller) => controllerName(venue, controller));
      return { control, text, differs, overridden: now?.overridden ?? "", moving };
    }),
  }));
  return { columns: [...columns].map(([control, name]) => ({ control, name })), rows };
}

/**
 * @param {Venue} venue
 * @param {Value} pending
 */
function pendingWords(venue, pending) {
  return typeof pending === "boolean" ? (pending ? "On" : "Off") : optionName(venue, String(pending));
}

/** @param {View} view @returns {Map<string, string[]>} by zone and control, the controllers that show it as differing */
function outliers(view) {
  /** @type {Map<string, string[]>} */
  const found = new Map();
  for (const [controller, face] of Object.entries(view.controllers)) {
    for (const [control, feedback] of Object.entries(face.controls)) {
      for (const zone of feedback.outliers ?? []) {
        const key = `${zone} ${control}`;
        found.set(key, [...(found.get(key) ?? []), controller]);
      }
    }
  }
  return found;
}
