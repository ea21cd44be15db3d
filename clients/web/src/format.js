/**
 * Values, names and states in words. Everything that a person reads and that depends on data is made here.
 *
 * @typedef {import("./types.js").Spec} Spec
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Feedback} Feedback
 * @typedef {import("./types.js").Face} Face
 * @typedef {import("./types.js").Wall} Wall
 * @typedef {import("./types.js").Value} Value
 */

const ROOMS_DIFFER = "Rooms differ";

/** @param {string} text */
export function capitalised(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * A key as words: `bay-east` is "Bay east".
 * @param {string} key
 */
export function words(key) {
  return capitalised(key.replace(/[-_]+/g, " "));
}

/**
 * "Heron", "Heron and Plover", "Heron, Plover and Tern".
 * @param {string[]} names
 * @param {string} [and]
 */
export function listed(names, and = "and") {
  if (names.length < 2) return names.join("");
  return `${names.slice(0, -1).join(", ")} ${and} ${names[names.length - 1]}`;
}

/**
 * A list for a place too small for a long one: "Heron panel and 2 more".
 * @param {string[]} names
 */
export function listedShort(names) {
  return names.length > 2 ? `${names[0]} and ${names.length - 1} more` : listed(names);
}

/**
 * @param {Venue | null} venue
 * @param {string} id
 */
export function zoneName(venue, id) {
  return venue?.zones[id]?.name || words(id);
}

/**
 * @param {Venue | null} venue
 * @param {string} id
 */
export function controllerName(venue, id) {
  return venue?.controllers[id]?.name || words(id);
}

/**
 * @param {Venue | null} venue
 * @param {string} id
 */
export function wallName(venue, id) {
  const wall = venue?.partitions[id];
  return wall?.name || (wall ? `Wall between ${listed(wall.between.map((zone) => zoneName(venue, zone)))}` : words(id));
}

/**
 * @param {string} key
 * @param {Spec | undefined} spec
 */
export function controlName(key, spec) {
  return spec?.name || words(key);
}

/**
 * A source in words, without whose it is: `plover/laptop` is "Laptop"; one of the venue by its own name.
 * @param {Venue | null} venue
 * @param {string} option
 */
export function sourceName(venue, option) {
  const [place, bare] = option.split("/", 2);
  if (bare === undefined) return words(option);
  return (place === "venue" && venue?.venue_sources?.[bare]?.name) || words(bare);
}

/**
 * An option in words; one that belongs to another zone says whose it is: `plover/laptop` is "Laptop in Plover".
 * @param {Venue | null} venue
 * @param {string | null} option
 */
export function optionName(venue, option) {
  if (option === null) return "None";
  const slash = option.indexOf("/");
  if (slash < 0 || option.startsWith("venue/")) return sourceName(venue, option);
  return `${words(option.slice(slash + 1))} in ${zoneName(venue, option.slice(0, slash))}`;
}

/**
 * How many decimals a level is shown and asked with: enough for its tolerance.
 * @param {Spec} spec
 */
export function decimals(spec) {
  const tolerance = spec.tolerance || 1;
  return tolerance >= 1 ? 0 : Math.min(3, Math.ceil(-Math.log10(tolerance)));
}

/**
 * A number with a real minus sign and fixed decimals.
 * @param {number} value
 * @param {number} places
 */
export function figure(value, places) {
  const text = Math.abs(value).toFixed(places);
  return value < 0 && Number(text) !== 0 ? `\u2212${text}` : text;
}

/**
 * Any control's value in words.
 * @param {Venue | null} venue
 * @param {Spec} spec
 * @param {Value} value
 */
export function valueWords(venue, spec, value) {
  if (spec.kind === "level") {
    if (typeof value !== "number") return "no value";
    // A percent sign and a unit are both set off by a narrow space, as ISO 80000-1 has it.
    return `${figure(value, decimals(spec))}\u202f${spec.unit ?? ""}`.trimEnd();
  }
  if (spec.kind === "choice") return optionName(venue, typeof value === "string" ? value : null);
  if (spec.kind === "motion") return motionWords(value);
  return value === true ? "On" : "Off";
}

/**
 * By how much a level sounds lower while somebody pages; empty while nobody does.
 * @param {Spec | undefined} spec
 * @param {{ducked?: number} | undefined} seen
 */
export function duckedWords(spec, seen) {
  return spec && seen?.ducked ? `somebody pages: ${figure(seen.ducked, Number.isInteger(seen.ducked) ? 0 : 1)}\u202f${spec.unit ?? ""} lower meanwhile` : "";
}

/**
 * What to say of linked zones that disagree; empty if they agree.
 * @param {Venue | null} venue
 * @param {Face} face
 * @param {Feedback | undefined} feedback
 */
export function mixedWords(venue, face, feedback) {
  if (!feedback?.mixed) return "";
  const outliers = feedback.outliers ?? [];
  const others = face.links.length - outliers.length;
  if (outliers.length === 0 || others <= 0) return ROOMS_DIFFER;
  return `${listed(outliers.map((id) => zoneName(venue, id)))} ${outliers.length === 1 ? "differs" : "differ"}`;
}

/**
 * Which controls linked zones disagree on, as one sentence; empty if on none.
 * @param {Venue | null} venue
 * @param {Face} face
 * @param {{name: string, feedback: Feedback}[]} differing
 */
export function differingWords(venue, face, differing) {
  const [first] = differing;
  if (!first) return "";
  if (differing.length === 1) {
    const said = mixedWords(venue, face, first.feedback);
    return `${first.name}: ${said === ROOMS_DIFFER ? "the rooms differ" : said}.`;
  }
  return `${listed(differing.map(({ name }) => name))} differ between the rooms.`;
}

/**
 * A wall's position and how it is known: "Open, moved by hand until 19:40".
 * @param {Wall | undefined} wall
 * @param {string} [timezone]
 */
export function wallWords(wall, timezone) {
  if (!wall) return "Not known";
  const position = wall.position === "unknown" ? "Not known" : capitalised(wall.position);
  const parts = [position];
  if (wall.trust === "pinned") {
    parts.push(wall.pinned_until ? `stated by hand until ${clockTime(wall.pinned_until, timezone)}` : "stated by hand");
    if (wall.sensed && wall.sensed !== "unknown" && wall.sensed !== wall.position && !wall.mismatched) parts.push(`its contact says ${wall.sensed}`);
  } else if (wall.position !== "unknown") {
    parts.push(wall.trust === "sensed" ? "sensed" : "not confirmed");
  }
  if (wall.reported && wall.reported !== wall.position && wall.reported !== wall.sensed) parts.push(`now reported ${wall.reported}, waiting until steady`);
  if (wall.flagged) parts.push("inside rooms that are joined another way");
  return parts.join(", ");
}

/**
 * Hours and minutes of an instant, in the venue's time zone.
 * @param {string} at  RFC 3339
 * @param {string} [timezone]
 */
export function clockTime(at, timezone) {
  /** @type {Intl.DateTimeFormatOptions} */
  const how = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  try {
    return new Intl.DateTimeFormat("en-GB", { ...how, timeZone: timezone }).format(new Date(at));
  } catch {
    // A browser may lack a zone that the service knows.
    return new Intl.DateTimeFormat("en-GB", how).format(new Date(at));
  }
}

/** What may be said better here than by the service, by the last part of the problem's type. */
const REFUSALS = /** @type {Record<string, string>} */ ({
  "nothing-linked": "No room is linked. Touch one on the plan first.",
  overridden: "Held by an override. Wait until it clears.",
});

/**
 * Why something was not done, in words.
 * @param {unknown} error
 */
export function refusalWords(error) {
  const problem = /** @type {{problem?: import("./types.js").Problem}} */ (error)?.problem;
  if (problem) {
    const known = REFUSALS[problem.type.slice(problem.type.lastIndexOf("/") + 1)];
    return known ?? (problem.detail || problem.title);
  }
  return error instanceof Error ? error.message : String(error);
}

/**
 * Why a panel as a whole is locked: another one leads its group, or a person has locked it.
 * @param {Venue | null} venue
 * @param {{by: string, lock?: string}} locked
 */
export function lockedWords(venue, locked) {
  if (locked.lock === undefined) return `${controllerName(venue, locked.by)} is in charge`;
  return locked.by ? `by ${personWords(venue, locked.by)}, who set ${words(locked.lock)}` : words(locked.lock);
}

/**
 * What a controller works on, as one sentence in two parts: the rooms, and how things stand.
 * @param {Venue | null} venue
 * @param {Face} face
 * @param {string[][]} groups
 * @param {Record<string, string>} [leads]  who leads each group of several rooms, by the first of them
 * @returns {{rooms: string, standing: string}}
 */
export function standingWords(venue, face, groups, leads = {}) {
  const linked = face.links.map((link) => link.zone);
  if (linked.length === 0) return { rooms: "No room", standing: "Nothing is linked. Touch a room on the plan." };
  const rooms = listed(linked.map((id) => zoneName(venue, id)));
  const parts = [];
  const joined = groups.filter((group) => group.length > 1 && group.some((zone) => linked.includes(zone)));
  for (const group of joined) {
    const same = group.length === linked.length && group.every((zone) => linked.includes(zone));
    parts.push(same ? "one room, walls open" : `${listed(group.map((id) => zoneName(venue, id)))} are one room`);
  }
  if (joined.length === 0) parts.push(linked.length > 1 ? "separate rooms, worked together" : "on its own");
  if (face.locked) parts.push(`locked: ${lockedWords(venue, face.locked)}`);
  else if (face.lead && joined.length > 0) parts.push("this panel is in charge");
  else {
    const leader = leaderOf(venue, face, joined, leads);
    if (leader) parts.push(`follows ${zoneName(venue, leader)}\u2019s panel`);
  }
  return { rooms, standing: `${capitalised(parts.join("; "))}.` };
}

/**
 * The home of the panel that this one mirrors, where it mirrors one.
 * @param {Venue | null} venue
 * @param {Face} face
 * @param {string[][]} joined
 * @param {Record<string, string>} leads
 */
function leaderOf(venue, face, joined, leads) {
  const home = venue?.controllers[face.controller ?? ""]?.home;
  const group = joined.find((zones) => home !== undefined && zones.includes(home));
  if (!venue || !group || venue.combining?.others !== "mirror") return undefined;
  const first = leads[group[0] ?? ""];
  return first === face.controller ? undefined : venue.controllers[first ?? ""]?.home;
}

const RUNNING = /** @type {Record<string, string>} */ ({ open: "Opening", close: "Closing" });

/**
 * What a motion does now: "Opening", "At rest", "Resting before it opens".
 * @param {Value | undefined} running
 * @param {Value} [pending]
 */
export function motionWords(running, pending) {
  if (typeof running === "string") return RUNNING[running] ?? words(running);
  return typeof pending === "string" ? `Resting before it ${pending}s` : "At rest";
}

/**
 * Walls beside the linked zones that somebody should know about: not known, on the move, pinned or closed for nothing.
 * Those of which the same is to be said are told together.
 * @param {Venue | null} venue
 * @param {Face} face
 * @param {Record<string, Wall>} walls
 * @returns {string[]} sentences
 */
export function wallNotices(venue, face, walls) {
  const linked = face.links.map((link) => link.zone);
  /** @type {Map<string, string[]>} */
  const found = new Map();
  for (const [id, { between }] of Object.entries(venue?.partitions ?? {})) {
    const wall = walls[id];
    if (!wall || !between.some((zone) => linked.includes(zone))) continue;
    const odd = wall.position === "moving" || wall.position === "unknown" || wall.flagged || wall.trust === "pinned";
    const said = [wallWords(wall, venue?.venue.timezone).toLowerCase(), wall.mismatched ? `the contact says ${wall.sensed}` : ""].filter(Boolean).join("; ");
    if (odd) found.set(said, [...(found.get(said) ?? []), wallName(venue, id)]);
  }
  return [...found].map(([said, names]) => `${listed(names)}: ${said}.`);
}

/**
 * Who did something: a panel by its name; where nobody signs in, from which device.
 * @param {Venue | null} venue
 * @param {string} who
 */
export function personWords(venue, who) {
  if (venue?.controllers?.[who]) return controllerName(venue, who);
  return who.startsWith("http ") ? `somebody at ${who.slice(5)}` : who || "somebody";
}

const TRUST = /** @type {Record<string, string>} */ ({ sensed: "sensed", pinned: "stated", unknown: "not confirmed" });

/**
 * A wall's position and how it is known, for a place too small for a sentence: "open, stated, kept apart".
 * @param {Wall | undefined} wall
 */
export function wallShort(wall) {
  if (!wall || wall.position === "unknown") return "not known";
  const joins = wall.division ? (wall.division.why === "apart" ? ", kept apart" : ", not combined") : "";
  return `${wall.position}, ${TRUST[wall.trust] ?? wall.trust}${joins}`;
}
