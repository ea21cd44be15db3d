/**
 * Alarms in words: for technicians what each is and what may be done to it, for guests only that something in their
 * rooms is not as it should be.
 *
 * @typedef {import("./types.js").Alarm} Alarm
 * @typedef {import("./types.js").PanelAlarm} PanelAlarm
 * @typedef {import("./types.js").Venue} Venue
 */
import { capitalised, clockTime, controllerName, listed, personWords, wallName, words, zoneName } from "./format.js";

const STATES = /** @type {Record<string, string>} */ ({
  unacknowledged: "Stands, and nobody has acknowledged it",
  acknowledged: "Stands, acknowledged",
  returned: "Over, but nobody has acknowledged it",
  shelved: "Shelved",
  suppressed: "Suppressed by design",
  "out-of-service": "Out of service",
});

const PRIORITIES = /** @type {Record<string, string>} */ ({ high: "Urgent", medium: "Soon", low: "When there is time" });

/** What may be done to an alarm in a state, in the order in which it is offered. */
const ACTIONS = /** @type {Record<string, ("acknowledge" | "shelve" | "unshelve" | "remove" | "return")[]>} */ ({
  unacknowledged: ["acknowledge", "shelve", "remove"],
  acknowledged: ["shelve", "remove"],
  returned: ["acknowledge", "shelve", "remove"],
  shelved: ["unshelve", "remove"],
  suppressed: ["remove"],
  "out-of-service": ["return"],
});

/** So long an alarm can be shelved with one touch: seconds, and words. */
export const SHELVES = /** @type {const} */ ([[900, "15 min"], [3600, "1 h"], [28800, "8 h"]]);

/** What guests are told, by kind: never what fails, always what it means for them. */
const GUESTS = /** @type {Record<string, string>} */ ({
  "device-lost": "Some controls may not answer at the moment",
  "panel-lost": "A panel of this room is away at the moment",
  "wall-unknown": "The room divider\u2019s position is not known at the moment",
  "wall-late": "The room divider has not arrived yet",
  "fence": "The room divider is open, and the rooms stay separate",
  "override-lost": "Some controls are held at the moment",
});

/** Kinds whose own word says too little to somebody who did not read about it. */
const KINDS = /** @type {Record<string, string>} */ ({
  fence: "Open between two bookings",
  feed: "Calendar",
  slow: "Service runs late",
  "journal-found": "Journal, as it was found",
  "turn-late": "Wall late for a booking",
});

/** @param {string} kind */
const kindWords = (kind) => KINDS[kind] ?? words(kind);

/**
 * @param {string} id  such as device-lost/lighting
 * @param {Venue | null} [venue]  says the names of panels and walls
 */
export function alarmName(id, venue = null) {
  const [kind = "", ...rest] = id.split("/");
  const what = rest.join("/");
  if (rest.length === 0) return kindWords(kind);
  if (venue?.partitions[what] && kind !== "device-lost") return `${kindWords(kind)}: ${wallName(venue, what)}`;
  if (venue?.controllers[what] && kind === "panel-lost") return `${kindWords(kind)}: ${controllerName(venue, what)}`;
  return [kindWords(kind), ...rest.map(words)].join(": ");
}

/** @param {Alarm} alarm */
export function speaks({ state }) {
  return state === "unacknowledged" || state === "acknowledged";
}

/**
 * The state as a sentence, with who and until when.
 * @param {Alarm} alarm
 * @param {string | undefined} timezone
 */
export function stateWords({ state, by, why, until, chattering, stands }, timezone) {
  const head = STATES[state] ?? capitalised(words(state));
  const parts = [
    until ? `until ${clockTime(until, timezone)}` : "",
    by ? `by ${personWords(null, by)}` : "",
    why ? `(${why})` : "",
  ].filter(Boolean);
  const quiet = state === "shelved" || state === "suppressed" || state === "out-of-service";
  const also = [quiet ? (stands ? "The condition stands." : "The condition does not stand.") : "", chattering ? "It comes and goes, and counts as standing until it keeps still." : ""];
  return [`${[head, ...parts].join(" ")}.`, ...also].filter(Boolean).join(" ");
}

/** @param {Alarm} alarm */
export function priorityWords({ priority }) {
  return PRIORITIES[priority] ?? capitalised(priority);
}

/** @param {Alarm} alarm */
export function actionsOf({ state }) {
  return ACTIONS[state] ?? [];
}

/**
 * Alarms in the order in which they come: what stands first, the most urgent of it first, then the oldest.
 * @param {Record<string, Alarm>} alarms
 * @returns {[string, Alarm][]}
 */
export function ranked(alarms) {
  const rank = /** @type {(alarm: Alarm) => number} */ ((alarm) => (speaks(alarm) ? 0 : 10) + ["high", "medium", "low"].indexOf(alarm.priority));
  return Object.entries(alarms).sort(([, a], [, b]) => rank(a) - rank(b) || a.since.localeCompare(b.since));
}

/**
 * How many stand, as a sentence; empty where nothing is wrong.
 * @param {Alarm[]} alarms
 */
export function countWords(alarms) {
  const standing = alarms.filter(speaks);
  const open = alarms.filter(({ state }) => state === "unacknowledged" || state === "returned").length;
  const urgent = standing.filter(({ priority }) => priority === "high").length;
  if (standing.length === 0 && open === 0) return "";
  const stand = standing.length === 0 ? "No alarm stands" : `${standing.length} ${standing.length === 1 ? "alarm stands" : "alarms stand"}${urgent ? `, ${urgent} of them urgent` : ""}`;
  return `${stand}${open ? `; ${open} to be acknowledged` : ""}.`;
}

/**
 * @param {{times: number, seconds: number, flood: boolean} | null | undefined} raised  of GET /alarms
 */
export function floodWords(raised) {
  if (!raised || raised.times === 0) return "";
  const many = `${raised.times} ${raised.times === 1 ? "alarm was" : "alarms were"} raised in the last ${Math.round(raised.seconds / 60)} minutes`;
  return raised.flood ? `${many}: more than one person can follow. Look for what they have in common.` : `${many}.`;
}

/**
 * What guests read on the panel of a controller: one sentence for each set of rooms, so that the rest of the panel keeps its
 * place; calm, and without names of equipment.
 * @param {Venue | null} venue
 * @param {PanelAlarm[]} alarms
 * @returns {string[]}
 */
export function guestWords(venue, alarms) {
  /** @type {Map<string, Set<string>>} */
  const said = new Map();
  for (const { kind, zones } of alarms) {
    const where = listed(zones.map((zone) => zoneName(venue, zone)));
    said.set(where, (said.get(where) ?? new Set()).add(GUESTS[kind]?.toLowerCase() ?? ""));
  }
  return [...said].map(([where, all]) => {
    const known = [...all].filter(Boolean);
    return known.length ? `${where}: ${known.join("; ")}. The venue\u2019s staff can see it.` : `${where}: a small thing waits for the venue\u2019s staff.`;
  });
}
