/**
 * Overrides: life-safety or lockout inputs that mask outputs until they clear. While one stands over a zone, every order
 * there is refused, so a panel says so before anybody tries.
 *
 * @typedef {import("./types.js").Override} Override
 * @typedef {import("./types.js").Face} Face
 * @typedef {import("./types.js").Venue} Venue
 */
import { clockTime, listed, words, zoneName } from "./format.js";

const KINDS = /** @type {Record<string, string>} */ ({ "life-safety": "Life safety", lockout: "Lockout" });

/**
 * @param {Record<string, Override>} overrides
 * @param {string} id
 */
export function overrideName(overrides, id) {
  const name = overrides[id]?.name;
  // Without a name of its own the service sends the key.
  return name && name !== id ? name : words(id);
}

/**
 * The override that stands over a controller's linked zones, if any does. An older service does
 * not tell which zones it covers; then a masked control among the linked ones does.
 * @param {Record<string, Override>} overrides
 * @param {Face} face
 * @returns {string | null}
 */
export function overrideOver(overrides, face) {
  const found = Object.entries(overrides).find(([id, override]) => standsOver(id, override, face));
  return found?.[0] ?? masking(face)[0] ?? null;
}

/**
 * @param {string} id
 * @param {Override} override
 * @param {Face} face
 */
export function standsOver(id, { zones }, face) {
  return zones === null || masking(face).includes(id) || !!zones?.some((zone) => face.links.some((link) => link.zone === zone));
}

/** @param {Face} face @returns {string[]} the overrides that mask a control of its linked zones */
function masking(face) {
  return Object.values(face.controls).flatMap((feedback) => feedback.overridden ?? []);
}

/** @param {Override} override */
export function overrideKind({ kind }) {
  return KINDS[kind] ?? words(kind);
}

/**
 * Where an override stands: "in all rooms", "in Heron and Plover"; empty where it is not told.
 * @param {Venue | null} venue
 * @param {Override} override
 */
export function overrideWhere(venue, { zones }) {
  if (zones === undefined) return "";
  return zones === null ? "in all rooms" : `in ${listed(zones.map((zone) => zoneName(venue, zone)))}`;
}

/**
 * An override as sentences: what stands, where, since when, why, and what follows.
 * @param {string} name
 * @param {Override} override
 * @param {Venue | null} venue
 */
export function overrideWords(name, override, venue) {
  const where = overrideWhere(venue, override);
  const since = `since ${clockTime(override.since, venue?.venue.timezone)}`;
  const why = override.why ? ` (${override.why})` : "";
  return `${overrideKind(override)}: ${[name, where, since].filter(Boolean).join(" ")}${why}. Orders are refused until it clears; then nothing moves by itself.`;
}
