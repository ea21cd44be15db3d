/**
 * Locks that a person has set: a room, a panel, or some controls of either are worked by nobody until it is released.
 *
 * @typedef {import("./types.js").Lock} Lock
 * @typedef {import("./types.js").Face} Face
 * @typedef {import("./types.js").Venue} Venue
 */
import { clockTime, controllerName, controlName, listed, personWords, words, zoneName } from "./format.js";

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
 * The name of a new lock: as people call it, else by what it locks; another one than those that stand.
 * @param {Record<string, Lock>} locks
 * @param {string} name
 * @param {string} what   such as "zone heron"
 */
export function lockKey(locks, name, what) {
  const plain = name.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "");
  const base = plain || (what.split(" ")[1] ?? "lock");
  let key = base;
  for (let n = 2; key in locks; n++) key = `${base}-${n}`;
  return key;
}

/**
 * What PUT /locks/{lock} takes, from a form.
 * @param {string} what       such as "zone heron" or "controller heron-wall"
 * @param {string[]} controls
 * @param {{get(name: string): unknown}} given  `for` in seconds, `pin`, `why`; empty where not given
 * @returns {Record<string, unknown>}
 */
export function lockBody(what, controls, given) {
  const [kind = "zone", id = ""] = what.split(" ");
  const seconds = Number(given.get("for") ?? 0);
  const pin = String(given.get("pin") ?? "").trim();
  const why = String(given.get("why") ?? "").trim();
  return { [kind]: id, ...(controls.length ? { controls } : {}), ...(seconds > 0 ? { for: seconds } : {}), ...(pin ? { pin } : {}), ...(why ? { why } : {}) };
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
  const by = lock.by ? ` by ${personWords(venue, lock.by)}` : "";
  return `${lockName(locks, id)}: ${what} ${lock.controls.length > 1 ? "are" : "is"} locked${by} ${until}${lock.why ? ` (${lock.why})` : ""}.`;
}
