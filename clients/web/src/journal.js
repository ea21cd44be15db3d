/**
 * Journal entries as sentences: who did what, and what came of it.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {{seq: number, at: string, who: string, via: string, where?: string, did: Record<string, any>, events: Record<string, any>[]}} Entry
 * @typedef {{zone: string, who: string, type: string}} Filter  empty members let everything pass
 */
import { alarmName } from "./alarms.js";
import { controllerName, controlName, figure, listed, motionWords, optionName, personWords, valueWords, wallName, wallWords, words, zoneName } from "./format.js";
import { lockWords } from "./locks.js";
import { divisionNews } from "./divisions.js";
import { DIARY_SAYINGS } from "./journal-diary.js";
import { flowWords } from "./travel.js";

/** The types of event that people look for, and what they call them. */
export const TYPES = /** @type {Record<string, string>} */ ({
  control: "Controls",
  wall: "Walls",
  regrouped: "Rooms joined or parted",
  link: "Links made",
  "link-ended": "Links ended",
  hold: "Holds begun",
  "hold-ended": "Holds ended",
  scene: "Scenes saved",
  override: "Overrides",
  "override-cleared": "Overrides cleared",
  "alarm-set": "Alarms",
  alarm: "Alarms, in older entries",
  "alarm-cleared": "Alarms of what is gone",
  armed: "Bindings armed",
  disarmed: "Bindings disarmed",
  checked: "Checked on site",
  booking: "Bookings",
  phase: "Bookings that begin or end",
  "wall-request": "Walls that are asked for",
  configured: "Configuration",
  session: "Sign-ins",
  "session-ended": "Sign-outs",
  "sign-in-refused": "Refused sign-ins",
  person: "People",
  key: "Panels and tokens",
  noticed: "Notices",
});

/**
 * The query of GET /events for a filter.
 * @param {Filter} filter
 * @param {Record<string, string>} [more]
 */
export function eventsQuery(filter, more = {}) {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries({ ...filter, ...more })) if (value !== "") query.set(name, value);
  return query.toString();
}

/**
 * Who acted, in words; what came by itself is said as such.
 * @param {Venue | null} venue
 * @param {Entry} entry
 */
export function whoWords(venue, { who, via }) {
  if (via === "clock") return "As time passed";
  if (venue?.controllers[who]) return controllerName(venue, who);
  return via === "http" ? who.replace(/^http/, "HTTP") : words(who);
}

const CHECKED = /** @type {Record<string, string>} */ ({ pass: "passed", fail: "failed", "not-applicable": "does not apply", open: "taken back" });

/** @typedef {(venue: Venue | null, event: Record<string, any>) => string} Saying */

const SAYINGS = /** @type {Record<string, Saying>} */ ({
  control: controlWords,
  "control-dropped": (venue, { zone, control }) => `${zoneName(venue, zone)} no longer has ${control}`,
  wall: (venue, { partition, now }) => `${wallName(venue, partition)}: ${wallWords(wallOf(now), venue?.venue.timezone).toLowerCase()}`,
  "wall-dropped": (venue, { partition }) => `${wallName(venue, partition)} is no longer here`,
  division: (venue, { partition, now }) => `${wallName(venue, partition)} is open: ${divisionNews(now)}`,
  "division-ended": (venue, { partition, why }) => `${wallName(venue, partition)} is no longer kept apart${why ? ` (${why})` : ""}`,
  regrouped: (venue, { groups }) => groups.map((/** @type {string[]} */ group) => `${listed(group.map((zone) => zoneName(venue, zone)))} ${group.length > 1 ? "are one room" : "is on its own"}`).join("; "),
  link: (venue, { controller, zone, now }) => `${controllerName(venue, controller)} linked ${zoneName(venue, zone)}${now?.reasons?.length ? ` (${now.reasons.join(", ")})` : ""}`,
  "link-ended": (venue, { controller, zone, why }) => `${controllerName(venue, controller)} unlinked ${zoneName(venue, zone)}${why ? ` (${why})` : ""}`,
  hold: (_, { now }) => `Held${now?.control ? `: ${now.control}` : ""}`,
  "hold-ended": (venue, { zones, why }) => `Let go${zones?.length ? ` in ${listed(zones.map((/** @type {string} */ zone) => zoneName(venue, zone)))}` : ""}${why ? ` (${why})` : ""}`,
  role: (venue, { controller, now }) => `${controllerName(venue, controller)} ${now?.locked ? `is locked by ${controllerName(venue, now.locked)}` : now?.lead ? "is in charge" : "has no part in a group"}`,
  overflow: (venue, { overflow, zones }) => (zones.length ? `${words(overflow)} joins ${listed(zones.map((/** @type {string} */ zone) => zoneName(venue, zone)))}` : `${words(overflow)} is over`),
  "one-way": (venue, { overflow, now }) => `${words(overflow)}: ${flowWords(venue, { ...now, from: now?.source, ends: now?.booking ? "booking" : "hand" })}`,
  "one-way-ended": (_, { overflow, why }) => `${words(overflow)} is over${why ? ` (${why})` : ""}`,
  "microphone-assigned": (venue, { microphone, zone }) => `${words(microphone)} is used in ${zone ? zoneName(venue, zone) : "its own room"}`,
  scene: (_, { scene }) => `Scene ${words(scene)} saved`,
  "alarm-set": (venue, { alarm, cause, now }) => alarmWords(venue, String(alarm), cause, now),
  alarm: (_, { text }) => `Alarm: ${text}`,
  "alarm-cleared": (_, { alarm }) => `Alarm cleared: ${String(alarm).split("/").map(words).join(", ")}`,
  override: (_, { override, now }) => `Override ${words(override)}${now?.why ? ` (${now.why})` : ""}`,
  "override-cleared": (_, { override }) => `Override ${words(override)} cleared`,
  masked: (venue, { zone, control, now }) => `${nameOf(venue, zone, control)} masked by ${words(now?.override ?? "an override")}`,
  unmasked: (venue, { zone, control }) => `${nameOf(venue, zone, control)} no longer masked`,
  armed: (_, { binding, now }) => `${binding} armed by ${now?.who ?? "somebody"}${now?.note ? ` (${now.note})` : ""}`,
  disarmed: (_, { binding, why }) => `${binding} disarmed${why ? ` (${why})` : ""}`,
  checked: (_, { item, now }) => `${String(item).split("/").map(words).join(", ")}: ${CHECKED[now?.result] ?? now?.result ?? ""}${now?.who ? `, by ${now.who}` : ""}${now?.note ? ` (${now.note})` : ""}`,
  session: (_, { now }) => (now?.began === now?.last ? `${now?.person} signed in` : ""),
  "session-ended": (_, { person, why }) => `A session of ${person} ended (${why})`,
  "sign-in-refused": (_, { what, name, more }) => `A wrong ${what}${name ? ` for ${name}` : ""}${more ? `, and ${more} more` : ""}`,
  person: (_, { person, now }) => `${person} has the role ${now?.role}`,
  "person-removed": (_, { person }) => `${person} may no longer sign in`,
  key: (venue, { key, now }) => (now?.last ? "" : now?.controller ? `${key} was paired with ${controllerName(venue, now.controller)}` : `${key} has a token with the role ${now?.role}`),
  "key-removed": (_, { key, why }) => `${key} is no longer let in (${why})`,
  lock: (venue, { lock, now }) => lockWords({ [lock]: { ...now, until: typeof now?.until === "number" ? new Date(now.until * 1000).toISOString() : null } }, lock, venue).replace(/\.$/, ""),
  "lock-ended": (_, { lock, why }) => `${words(lock)} is no longer locked (${why})`,
  lead: (venue, { now }) => `${controllerName(venue, now?.controller)} has the lead, ${now?.why === "taken" ? `taken by ${personWords(venue, now?.by ?? "")}` : "as the panel that led is away"}`,
  "lead-ended": () => "The lead goes by the lead order again",
  panel: (venue, { controller, since }) => `${controllerName(venue, controller)}: its panel is ${since === null ? "back" : "away"}`,
  configured: (_, { digest }) => `Configuration ${String(digest).slice(0, 12)}`,
  noticed: (_, { text }) => text,
  ...DIARY_SAYINGS,
});

/** What is kept for the machine's sake and says nothing to a person. */
const UNSAID = ["answered", "hand", "remembered", "used", "controller-dropped", "zone-dropped"];

/**
 * One event as a sentence; empty for what only the machine needs.
 * @param {Venue | null} venue
 * @param {Record<string, any>} event
 */
export function eventWords(venue, event) {
  if (UNSAID.includes(event.type)) return "";
  if (event.hidden) return `${zoneName(venue, event.zone)}: in private use`;
  // A newer service may know events that this page does not.
  return SAYINGS[event.type]?.(venue, event) ?? words(String(event.type));
}

const INSTANT_S = 1e9;

/**
 * The command behind an entry in short: "Act, volume, raise".
 * @param {Entry} entry
 */
export function didWords({ did }) {
  const { command = "", ...rest } = did;
  // An instant is a number of seconds there, which says nothing to anybody.
  const said = Object.values(rest).filter((value) => typeof value === "string" || (typeof value === "number" && value < INSTANT_S));
  const name = String(command).replace(/(?!^)([A-Z])/g, (letter) => ` ${letter.toLowerCase()}`);
  return [name, ...said].filter((part) => part !== "").join(", ");
}

const ALARM_CAUSES = /** @type {Record<string, string>} */ ({
  clear: "is over",
  acknowledge: "was acknowledged",
  shelve: "was shelved",
  unshelve: "is shelved no more",
  suppress: "is suppressed by design",
  unsuppress: "is suppressed no more",
  remove: "was taken out of service",
  return: "is back in service",
  quiet: "has kept still for long enough",
  toggle: "comes and goes",
  renew: "has another priority",
});

/** What people do to an alarm, and the configuration, which says why. */
const BY_SOMEBODY = ["acknowledge", "shelve", "suppress", "remove"];

/**
 * @param {Venue | null} venue
 * @param {string} alarm
 * @param {string} cause
 * @param {Record<string, any>} [now]
 */
function alarmWords(venue, alarm, cause, now) {
  if (cause === "raise") return `Alarm: ${now?.text ?? ""}`;
  // Who put it aside has nothing to do with what came and went meanwhile.
  const ours = BY_SOMEBODY.includes(cause);
  return `Alarm \u201c${alarmName(alarm, venue)}\u201d ${ALARM_CAUSES[cause] ?? words(cause)}${ours && now?.by ? ` by ${now.by}` : ""}${ours && now?.why ? ` (${now.why})` : ""}`;
}

/** @type {Saying} */
function controlWords(venue, { zone, control, kind, now }) {
  const name = nameOf(venue, zone, control);
  const spec = venue?.zones[zone]?.controls[control];
  if (kind === "level") {
    const said = spec?.kind === "level" ? valueWords(venue, spec, now.to) : figure(now.to, 1);
    return now.seconds > 0 ? `${name} to ${said} in ${figure(now.seconds, 1)}\u202fs` : `${name} at ${said}`;
  }
  if (kind === "motion") return `${name}: ${motionWords(now.running, now.pending).toLowerCase()}`;
  if (kind === "choice") {
    const coming = now.pending == null ? "" : `, then ${optionName(venue, now.pending)}`;
    return `${name}: ${optionName(venue, now.value ?? null)}${coming}`;
  }
  return `${name} ${now.value ? "on" : "off"}`;
}

/**
 * @param {Venue | null} venue
 * @param {string} zone
 * @param {string} control
 */
function nameOf(venue, zone, control) {
  return `${zoneName(venue, zone)}, ${controlName(control, venue?.zones[zone]?.controls[control]).toLowerCase()}`;
}

/**
 * A wall as the journal has it, as the view has it.
 * @param {Record<string, any>} now
 * @returns {import("./types.js").Wall}
 */
function wallOf(now) {
  const until = typeof now.pinned_until === "number" ? new Date(now.pinned_until * 1000).toISOString() : now.pinned_until ?? null;
  return { position: now.position, trust: now.trust, flagged: !!now.flagged, joins: !!now.joins, reported: now.report ?? null, pinned_until: until };
}
