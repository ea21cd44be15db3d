/**
 * What people and contacts say of a wall beside where it stands, in words: that it is not to be moved, and its pass door.
 *
 * @typedef {import("./types.js").Wall} Wall
 */
import { clockTime, personWords } from "./format.js";

/**
 * "Do not move: the track is bent (kim, 18:05)." Empty where nobody says so.
 * @param {Pick<Wall, "do_not_move"> | undefined} wall
 * @param {string} [timezone]
 * @param {import("./types.js").Venue | null} [venue]
 */
export function markWords(wall, timezone, venue = null) {
  const mark = wall?.do_not_move;
  return mark ? `Do not move: ${mark.why} (${personWords(venue, mark.by)}, ${clockTime(mark.since, timezone)}).` : "";
}

/**
 * "Its pass door is open." Empty where it has none, or nobody knows.
 * @param {Pick<Wall, "pass_door"> | undefined} wall
 */
export function doorWords(wall) {
  return wall?.pass_door ? `Its pass door is ${wall.pass_door}.` : "";
}
