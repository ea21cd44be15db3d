/**
 * What the journal has of the diary and of an evening, as sentences: bookings, walls that are asked for, what ends by itself.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {(venue: Venue | null, event: Record<string, any>) => string} Saying
 */
import { clockTime, controllerName, listed, personWords, wallName, words, zoneName } from "./format.js";

/** @type {(venue: Venue | null, zones: string[]) => string} */
const rooms = (venue, zones) => listed(zones.map((zone) => zoneName(venue, zone)));

/** @param {number} stamp  seconds, as the journal has them */
const iso = (stamp) => new Date(stamp * 1000).toISOString();

/** @type {(venue: Venue | null, stamp: number) => string} */
const clock = (venue, stamp) => clockTime(iso(stamp), venue?.venue.timezone);

/** @type {(venue: Venue | null, stamp: number) => string} */
function dayAndClock(venue, stamp) {
  /** @type {Intl.DateTimeFormatOptions} */
  const how = { day: "numeric", month: "long", year: "numeric" };
  /** @type {(more: Intl.DateTimeFormatOptions) => string} */
  const day = (more) => new Intl.DateTimeFormat("en-GB", { ...how, ...more }).format(stamp * 1000);
  try {
    return `${day({ timeZone: venue?.venue.timezone })} at ${clock(venue, stamp)}`;
  } catch {
    // A browser may lack a zone that the service knows.
    return `${day({})} at ${clock(venue, stamp)}`;
  }
}

/** @type {(count: number) => string} */
const dates = (count) => (count === 1 ? "A date" : `${count} dates`);

const PHASES = /** @type {Record<string, string>} */ ({
  waiting: "the booking waits",
  "set-up": "set-up begins",
  running: "the booking begins",
  "clear-down": "the guests are gone, clear-down begins",
  over: "the booking is over",
});

const DOOR = new Map([[true, "open"], [false, "closed"], [null, "not known"]]);

/** @type {Saying} */
function bookingWords(venue, { now }) {
  const what = `${now.title || "Booking"}, in ${rooms(venue, now.zones)}`;
  if (now.status === "cancelled") return `Cancelled: ${what}`;
  return now.revision === 1 ? `Booked: ${what}` : `Booking changed: ${what}`;
}

/** @type {Saying} */
function datesWords(venue, { occurrences: all }) {
  const on = all.filter((/** @type {{status: string}} */ one) => one.status !== "cancelled");
  const [first] = on;
  if (!first) return `${dates(all.length)} of it cancelled`;
  return `${dates(on.length)} of it, ${on.length === 1 ? "" : "the first "}on ${dayAndClock(venue, first.start)}`;
}

export const DIARY_SAYINGS = /** @type {Record<string, Saying>} */ ({
  booking: bookingWords,
  "booking-dropped": () => "An old booking is forgotten",
  occurrences: datesWords,
  "occurrences-dropped": (_, { keys }) => `${dates(keys.length)} of it taken out`,
  phase: (venue, { phase, zones }) => `${rooms(venue, zones)}: ${PHASES[phase] ?? words(phase)}`,
  "wall-request": (venue, { partition, now }) => `${wallName(venue, partition)} is asked to be ${now.position} by ${clock(venue, now.by)}`,
  "wall-request-ended": (venue, { partition }) => `${wallName(venue, partition)} is no longer asked for`,
  "routine-deferred": (venue, { routine, zones }) => (zones.length ? `${words(routine)} waits for ${rooms(venue, zones)}` : `${words(routine)} waits no more`),
  "move-ticked": (venue, { partition, now }) => `${wallName(venue, partition)}: ${personWords(venue, now.who)} says that it is ${now.to}${now.note ? ` (${now.note})` : ""}`,
  "tick-dropped": (venue, { partition }) => `${wallName(venue, partition)}: what was said of a move no longer counts`,
  ending: (venue, { now }) => `${rooms(venue, now.zones)}: to end at ${clock(venue, now.end)}`,
  "ending-dropped": () => "",
  closing: (venue, { routine, zone, now }) => `${zoneName(venue, zone)}: ${words(routine)} comes at ${clock(venue, now.at)}${now.why ? ` (${now.why})` : ""}`,
  "closing-ended": (venue, { routine, zone, why }) => `${zoneName(venue, zone)}: ${words(routine)} no longer waits (${why})`,
  presence: (venue, { zone, since }) => `${zoneName(venue, zone)}: ${since === null ? "nobody is there" : "somebody is there"}`,
  paging: (venue, { paging, now }) => `Paging: ${words(paging)}${now.by ? ` by ${venue?.controllers[now.by] ? controllerName(venue, now.by) : personWords(venue, now.by)}` : ""}`,
  "paging-ended": (_, { paging, why }) => `Paging is over: ${words(paging)}${why ? ` (${why})` : ""}`,
  "wall-marked": (venue, { partition, now }) => `${wallName(venue, partition)} is not to be moved: ${now.why}`,
  "wall-unmarked": (venue, { partition }) => `${wallName(venue, partition)} may be moved again`,
  "pass-door": (venue, { partition, is_open: open }) => `${wallName(venue, partition)}: its pass door is ${DOOR.get(open) ?? "not known"}`,
  told: (_, { webhook, upto, failed }) => (upto === null ? `${webhook} is told nothing any more` : failed?.length ? `${webhook}: ${failed.length} ${failed.length === 1 ? "message is" : "messages are"} put aside` : ""),
});
