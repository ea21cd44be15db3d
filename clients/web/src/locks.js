/**
 * Locks that a person has set: a room, a panel, or some controls of either are worked by nobody until it is released.
 *
 * @typedef {import("./types.js").Lock} Lock
 * @typedef {import("./types.js").Face} Face
 * @typedef {import("./types.js").Venue} Venue
 */
import { clockTime, controllerName, controlName, listed, words, zoneName } from "./format.js";

/** @param {Lock} lock @param {string} control */
function covers(lock, control) {
  return lock.controls.length === 0 || lock.controls.includes(control);
}

/**
 * The lock that keeps a control from being worked at a panel: one on the panel, or on every room that it would reach.
 * @param {Record<string, Lock>} locks
 * @param {string | null} controller
 * @param {string} control
 * @param {string[]} zones  that the control reaches
 * @returns {string | null}
 */
export function lockOver(locks, controller, control, zones) {
  const over = Object.entries(locks).filter(([, lock]) => covers(lock, control));
  const own = over.find(([, lock]) => controller !== null && lock.controller === controller);
  if (own) return own[0];
  const found = zones.map((zone) => over.find(([, lock]) => lock.zone === zone)?.[0]);
  return (zones.length > 0 && found.every(Boolean) && found[0]) || null;
}

/**
 * Whether a panel has to do with a lock: it is on the panel itself, or on a room that it is linked to.
 * @param {Lock} lock
 * @param {string} controller
 * @param {Face} face
 */
export function concerns(lock, controller, face) {
  return lock.controller === controller || face.links.some((link) => link.zone === lock.zone);
}

/** @param {Record<string, Lock>} locks @param {string} id */
export function lockName(locks, id) {
  const name = locks[id]?.name;
  return name && name !== id ? name : words(id);
}

/**
 * A lock in words: what it keeps, by whom, until when.
 * @param {Record<string, Lock>} locks
 * @param {string} id
 * @param {Venue | null} venue
 */
export function lockWords(locks, id, venue) {
  const lock = locks[id];
  if (!lock) return "";
  const of = lock.zone !== null ? zoneName(venue, lock.zone) : lock.controller !== null ? controllerName(venue, lock.controller) : "";
  const home = lock.zone ?? venue?.controllers[lock.controller ?? ""]?.home ?? "";
  const controls = listed(lock.controls.map((control) => controlName(control, venue?.zones[home]?.controls[control])));
  const what = controls ? `${controls} of ${of}` : of;
  const until = lock.until === null ? "until it is released" : `until ${clockTime(lock.until, venue?.venue.timezone)}`;
  return `${lockName(locks, id)}: ${what} is locked by ${lock.by} ${until}${lock.why ? ` (${lock.why})` : ""}.`;
}
