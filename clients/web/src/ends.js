/**
 * Ends that come, in words for guests: of their booking, and of what a routine would end while they are there.
 *
 * @typedef {import("./types.js").Ending} Ending
 * @typedef {import("./types.js").Closing} Closing
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {{text: string, more: Record<string, unknown>}} Offer
 * @typedef {{id: string, text: string, soon: boolean, offers: Offer[]}} Notice
 */
import { clockTime, listed, zoneName } from "./format.js";

/**
 * What a panel tells of ends, the bookings' first. A routine that waits is told once for all rooms that wait alike.
 * @param {Venue} venue
 * @param {{endings?: Ending[], closings?: Closing[]}} face
 * @returns {Notice[]}
 */
export function noticesOf(venue, { endings = [], closings = [] }) {
  const { timezone } = venue.venue;
  const rooms = (/** @type {string[]} */ zones) => listed(zones.map((zone) => zoneName(venue, zone)));
  const ofBookings = endings.map(({ booking, occurrence, zones, end, free_until, offers }) => ({
    id: `${booking}/${occurrence}`,
    text: `${rooms(zones)}: your time ends at ${clockTime(end, timezone)}.${offers.length > 0 ? "" : free_until ? " Others have the room after that." : ""}`,
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
    text: warned ? `${rooms(zones)}: \u201c${name}\u201d comes at ${clockTime(at, timezone)}.` : `${rooms(zones)}: \u201c${name}\u201d waits until ${clockTime(at, timezone)}, ${why}.`,
    soon: warned,
    offers: warned ? [{ text: "Keep on", more: { type: "keep-on", routine } }] : [],
  }));
  return [...ofBookings, ...ofRoutines];
}
