/**
 * What the diary makes of rooms and walls, in words: which booking has a room now, and which wall it waits for.
 *
 * @typedef {import("./types.js").InUse} InUse
 * @typedef {import("./types.js").Wall} Wall
 * @typedef {import("./types.js").Venue} Venue
 */
import { capitalised, clockTime, listed, wallName, zoneName } from "./format.js";

/** Stands for the title of a private booking. */
const HIDDEN = "in use";

/**
 * "Annual dinner until 22:00", "Set-up for Annual dinner at 18:00"; "In use until 22:00" where it is private.
 * @param {InUse} use
 * @param {string} [timezone]
 */
export function useWords({ title, private: secret, phase, start, end }, timezone) {
  const hidden = secret || title === HIDDEN;
  if (phase === "set-up") return `Set-up ${hidden ? "" : `for ${title} `}until ${clockTime(start, timezone)}`;
  if (phase === "clear-down") return `Clear-down${hidden ? "" : ` after ${title}`}`;
  return `${hidden ? "In use" : capitalised(title)} until ${clockTime(end, timezone)}`;
}

/**
 * What rooms are booked for now, each booking once: "Heron and Plover: Annual dinner until 22:00."
 * @param {Venue | null} venue
 * @param {Record<string, import("./types.js").ZoneState>} zones
 * @param {string[]} ids  the rooms in question
 * @returns {string[]} sentences
 */
export function useNotices(venue, zones, ids) {
  /** @type {Map<string, {use: InUse, rooms: string[]}>} */
  const found = new Map();
  for (const id of ids) {
    const use = zones[id]?.in_use;
    if (!use) continue;
    const key = `${use.booking}/${use.occurrence}`;
    const known = found.get(key) ?? { use, rooms: [] };
    known.rooms.push(zoneName(venue, id));
    found.set(key, known);
  }
  return [...found.values()].map(({ use, rooms }) => `${listed(rooms)}: ${useWords(use, venue?.venue.timezone)}.`);
}

/**
 * For a place too small for a sentence: "open by 17:30", and once it is so "open, as asked".
 * @param {Wall | undefined} wall
 * @param {string} [timezone]
 */
export function requestShort(wall, timezone) {
  const asked = wall?.requested;
  if (!asked) return "";
  return asked.met ? `${asked.position}, as asked` : `${asked.position === "open" ? "open" : "close"} by ${clockTime(asked.by, timezone)}`;
}

/**
 * "To be opened by hand by 17:30; not yet", or that it has been.
 * @param {Wall | undefined} wall
 * @param {string} [timezone]
 */
export function requestWords(wall, timezone) {
  const asked = wall?.requested;
  if (!asked) return "";
  const done = asked.position === "open" ? "opened" : "closed";
  return `To be ${done} by hand by ${clockTime(asked.by, timezone)}: ${asked.met ? `done, it is ${asked.position}` : "not yet done"}`;
}

/**
 * The walls at these rooms that shall be moved, and have not been.
 * @param {Venue | null} venue
 * @param {Record<string, Wall>} walls
 * @param {string[]} ids
 * @returns {string[]} sentences
 */
export function requestNotices(venue, walls, ids) {
  const found = Object.entries(venue?.partitions ?? {}).flatMap(([id, { between }]) => {
    const wall = walls[id];
    if (!wall?.requested || wall.requested.met || !between.some((zone) => ids.includes(zone))) return [];
    const said = requestWords(wall, venue?.venue.timezone);
    return [`${wallName(venue, id)}: ${said.charAt(0).toLowerCase()}${said.slice(1)}.`];
  });
  return found.length ? [...found, "Trained people move a wall, in view of it."] : [];
}
