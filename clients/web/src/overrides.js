/**
 * Overrides: life-safety or lockout inputs that mask outputs until they clear. While one stands over a zone, every order
 * there is refused, so a panel says so before anybody tries.
 *
 * @typedef {import("./types.js").Override} Override
 * @typedef {import("./types.js").Face} Face
 */
import { clockTime, words } from "./format.js";

const KINDS = /** @type {Record<string, string>} */ ({ "life-safety": "Life safety", lockout: "Lockout" });

/**
 * The override that stands over a controller's linked zones, if any does. Which zones it covers may not be told; then a
 * masked control among the linked ones tells.
 * @param {Record<string, Override>} overrides
 * @param {Face} face
 * @returns {string | null}
 */
export function overrideOver(overrides, face) {
  const linked = face.links.map((link) => link.zone);
  const masking = new Set(Object.values(face.controls).flatMap((feedback) => feedback.overridden ?? []));
  const covers = (/** @type {Override} */ override) =>
    override.zones === null || !!override.zones?.some((zone) => linked.includes(zone));
  const found = Object.entries(overrides).find(([name, override]) => masking.has(name) || covers(override));
  return found?.[0] ?? [...masking][0] ?? null;
}

/**
 * An override as sentences: what stands, since when, why, and what follows.
 * @param {string} name
 * @param {Override | undefined} override
 * @param {string} [timezone]
 */
export function overrideWords(name, override, timezone) {
  const kind = KINDS[override?.kind ?? ""] ?? words(override?.kind ?? "override");
  const since = override ? ` since ${clockTime(override.since, timezone)}` : "";
  const why = override?.why ? ` (${override.why})` : "";
  return `${kind}: ${words(name)}${since}${why}. Orders are refused until it clears; then nothing moves by itself.`;
}
