/**
 * Ends that come, in words for guests: of their booking, and of what a routine would end while they are there.
 *
 * @typedef {import("./types.js").Ending} Ending
 * @typedef {import("./types.js").Closing} Closing
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {{text: string, more: Record<string, unknown>}} Offer
 * @typedef {{id: string, text: string, soon: boolean, offers: Offer[]}} Notice
 */
import { clockTime, listed, personWords, zoneName } from "./format.js";

const KEPT_ON = "kept on by ";

/**
 * What a panel tells of ends, the bookings' first. A routine that waits is told once for all rooms that wait alike.
 * @param {Venue} venue
 * @param {{endings?: Ending[], closings?: Closing[]}} face
 * @param {boolean} [watching]  it is told to those who run the place, not to guests
 * @returns {Notice[]}
 */
export function noticesOf(venue, { endings = [], closings = [] }, watching = false) {
  const { timezone } = venue.venue;
  const says = watching ? "booked until" : "your time ends at";
  const whyWords = (/** @type {string} */ why) => (why.startsWith(KEPT_ON) ? `${KEPT_ON}${personWords(venue, why.slice(KEPT_ON.length))}` : why);
  const rooms = (/** @type {string[]} */ zones) => listed(zones.map((zone) => zoneName(venue, zone)));
  const ofBookings = endings.map(({ booking, occurrence, zones, end, free_until, offers }) => ({
    id: `${booking}/${occurrence}`,
    text: `${rooms(zones)}: ${says} ${clockTime(end, timezone)}.${offers.length > 0 ? "" : free_until ? " Others have the room after that." : ""}`,
    soon: true,
    offers: offers.map(({ minutes, until }) => ({
      text: `${minutes} minutes more, until ${clockTime(until, timezone)}`,
      more: { type: "extend", booking, occurrence, minutes },
    })),
  }));
  /** @type {Map<string, Closing & {zones: string[]}>} */
  const alike = new Map();
  for (const one of closings) {
    const key = JSON.stringify([one.routine, one.at, one.why, one.warned]);
    alike.set(key, { ...one, zones: [...(alike.get(key)?.zones ?? []), one.zone] });
  }
  const ofRoutines = [...alike.values()].map(({ routine, name, zones, at, why, warned }) => ({
    id: `${routine}/${zones.join("+")}`,
    text: warned ? `${rooms(zones)}: \u201c${name}\u201d comes at ${clockTime(at, timezone)}.` : `${rooms(zones)}: \u201c${name}\u201d waits until ${clockTime(at, timezone)}, ${whyWords(why)}.`,
    soon: warned,
    offers: warned ? [{ text: "Keep on", more: { type: "keep-on", routine } }] : [],
  }));
  return [...ofBookings, ...ofRoutines];
}

/**
 * The ends that the panels of all rooms tell, each once: several panels tell of the same.
 * @param {Record<string, {endings?: Ending[], closings?: Closing[]}>} faces
 * @returns {{endings: Ending[], closings: Closing[]}}
 */
export function endsOfAll(faces) {
  /** @type {Map<string, Ending>} */
  const endings = new Map();
  /** @type {Map<string, Closing>} */
  const closings = new Map();
  for (const face of Object.values(faces)) {
    for (const one of face.endings ?? []) endings.set(`${one.booking}/${one.occurrence}`, one);
    for (const one of face.closings ?? []) closings.set(`${one.routine}/${one.zone}`, one);
  }
  return { endings: [...endings.values()], closings: [...closings.values()] };
}

/**
 * Where those who watch order over HTTP what a panel orders through its socket: path and body.
 * @param {Record<string, any>} more  of an offer
 * @returns {[string, Record<string, unknown>]}
 */
export function overHttp({ type, booking, occurrence, minutes, routine }) {
  if (type === "extend") return [`bookings/${encodeURIComponent(booking)}/occurrences/${encodeURIComponent(occurrence)}/extend`, { minutes }];
  return [`routines/${encodeURIComponent(routine)}/keep-on`, {}];
}
