/**
 * Bindings of power and motion that nobody has armed: what drives them is logged and not sent, so what a panel shows of
 * them was asked for and is not so. No DOM.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {{class: string, device: string, control: string, armed: unknown}} Binding
 */
import { listed, zoneName } from "./format.js";

/**
 * @param {Record<string, Binding>} bindings
 * @returns {Set<string>} `zone.control` of each that is not armed
 */
export function disarmedOf(bindings) {
  const found = Object.values(bindings).filter((binding) => binding.class !== "signal" && binding.armed === null);
  return new Set(found.map((binding) => binding.control));
}

/**
 * What to say at a control; empty where all that it drives is armed.
 * @param {Venue | null} venue
 * @param {string[]} zones     the linked ones that have the control
 * @param {string[]} disarmed  those of them where it is not armed
 */
export function disarmedWords(venue, zones, disarmed) {
  if (disarmed.length === 0) return "";
  const where = disarmed.length < zones.length ? ` in ${listed(disarmed.map((zone) => zoneName(venue, zone)))}` : "";
  return `Disarmed${where}: nothing is sent${where && " there"}`;
}
