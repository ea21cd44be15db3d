/**
 * The values that linked zones hold, as choices to bring all of them to. No DOM.
 *
 * @typedef {import("./types.js").Spec} Spec
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Feedback} Feedback
 * @typedef {import("./types.js").Value} Value
 * @typedef {{value: Value, zones: string[], label: string, said: string}} Choice
 */
import { decimals, listed, valueWords, zoneName } from "./format.js";
import { rounded } from "./scale.js";

/**
 * One choice a value, this panel's own room first. What is under way counts as what it becomes.
 * @param {Venue | null} venue
 * @param {Spec} spec
 * @param {string | null} home
 * @param {string[]} group              the zones that are one room with the home
 * @param {[string, Feedback][]} found  what each linked zone has, in the order of linking
 * @returns {Choice[]}
 */
export function alignChoices(venue, spec, home, group, found) {
  /** @type {Map<Value, string[]>} */
  const held = new Map();
  for (const [zone, feedback] of [...found].sort(([a], [b]) => Number(b === home) - Number(a === home))) {
    const value = seenFrom(spec, home, group, zone, valueOf(spec, feedback));
    held.set(value, [...(held.get(value) ?? []), zone]);
  }
  return [...held].map(([value, zones]) => {
    const rooms = listed(zones.map((zone) => zoneName(venue, zone)));
    const words = valueWords(venue, spec, value);
    return { value, zones, label: `All to ${rooms}\u2019s ${words}`, said: `${rooms} ${zones.length > 1 ? "have" : "has"} ${words}` };
  });
}

/**
 * Which room has what, as one sentence.
 * @param {Choice[]} choices
 */
export function heldWords(choices) {
  return choices.length ? `${choices.map(({ said }) => said).join("; ")}.` : "No room tells its value.";
}

/**
 * A source of another zone as the home names it; zones that are not one room with it have their own of that name.
 * @param {Spec} spec
 * @param {string | null} home
 * @param {string[]} group
 * @param {string} zone
 * @param {Value} value
 */
function seenFrom(spec, home, group, zone, value) {
  if (!spec.sources || typeof value !== "string") return value;
  const slash = value.lastIndexOf("/");
  if (slash < 0 && !group.includes(zone)) return value;
  const at = slash < 0 ? zone : value.slice(0, slash);
  const bare = value.slice(slash + 1);
  return at === home ? bare : `${at}/${bare}`;
}

/**
 * @param {Spec} spec
 * @param {Feedback} feedback
 * @returns {Value}
 */
function valueOf(spec, feedback) {
  const value = feedback.moving ? feedback.moving.to : feedback.pending ?? feedback.value;
  return typeof value === "number" ? rounded(value, decimals(spec)) : value;
}
