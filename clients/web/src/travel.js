/**
 * What travels, in words and places: one-way overflows, where microphones are heard, sources that belong to no zone.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").OneWay} OneWay
 * @typedef {import("./types.js").Microphone} Microphone
 */
import { listed, zoneName } from "./format.js";

const SENSES = /** @type {Record<string, string>} */ ({ sound: "hears", picture: "sees" });

/** @param {OneWay} flow */
function senses(flow) {
  return listed(flow.carries.map((each) => SENSES[each] ?? each));
}

/**
 * What to write on a plan in a zone that has what is in others: "hears and sees Heron".
 * @param {Venue | null} venue
 * @param {Record<string, OneWay>} flows
 * @param {string} zone
 */
export function flowLines(venue, flows, zone) {
  return Object.values(flows).flatMap((flow) => (flow.to === zone ? [`${senses(flow)} ${zoneName(venue, flow.from)}`] : []));
}

/**
 * "Curlew hears and sees Heron, one way."
 * @param {Venue | null} venue
 * @param {OneWay} flow
 */
export function flowWords(venue, flow) {
  return `${zoneName(venue, flow.to)} ${senses(flow)} ${zoneName(venue, flow.from)}, one way${flow.ends === "booking" ? ", until the booking ends" : ""}.`;
}

/**
 * What to say of overflows at a panel that is at home in one room; of rooms apart from its linked ones nothing.
 * @param {Venue | null} venue
 * @param {Record<string, OneWay>} flows
 * @param {string | null} home
 * @param {string[]} linked
 */
export function flowNotices(venue, flows, home, linked) {
  const rooms = new Set([...(home === null ? [] : [home]), ...linked]);
  const name = (/** @type {string} */ zone) => (zone === home ? "this room" : zoneName(venue, zone));
  return Object.values(flows)
    .filter((flow) => rooms.has(flow.to) || rooms.has(flow.from))
    .map((flow) => {
      const text = `${name(flow.to)} ${senses(flow)} ${name(flow.from)}, one way${flow.ends === "booking" ? ", until the booking ends" : ""}.`;
      return text.charAt(0).toUpperCase() + text.slice(1);
    });
}

/**
 * Where the microphones that can be worked are heard, where that is more than their own room; those alike in one sentence.
 * @param {Venue | null} venue
 * @param {Record<string, Microphone>} microphones
 * @param {string[]} linked
 */
export function heardNotices(venue, microphones, linked) {
  /** @type {Map<string, string[]>} */
  const found = new Map();
  for (const { name, zone, heard_in: heard, mute, level } of Object.values(microphones)) {
    if (heard.length < 2 || !linked.includes(zone) || !(mute || level)) continue;
    const rooms = listed(heard.map((each) => zoneName(venue, each)));
    found.set(rooms, [...(found.get(rooms) ?? []), name]);
  }
  return [...found].map(([rooms, names]) => `${listed(names)}: heard in ${rooms} while open.`);
}

/**
 * Whether a control is that of a radio microphone that is used in another zone, so that this one does not show it.
 * @param {Record<string, Microphone>} microphones
 * @param {string} zone
 * @param {string} control
 */
export function isElsewhere(microphones, zone, control) {
  return Object.values(microphones).some((each) => each.radio && each.zone !== zone && (each.mute === control || each.level === control));
}
