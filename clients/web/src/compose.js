/**
 * Which controls a panel shows, and where: by what people do with them.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Kind} Kind
 * @typedef {import("./types.js").Spec} Spec
 */

/** In the order in which people reach for them; a control without a section is about the room. */
export const SECTIONS = /** @type {const} */ (["sound", "light", "picture", "room"]);

/**
 * The controls of the home zone, then those that only linked zones have, by section; empty sections are left out.
 * @param {Venue} venue
 * @param {string} home
 * @param {string[]} linked
 * @param {(zone: string, control: string) => boolean} [elsewhere]  whether a control counts in another zone than this
 * @returns {{section: string, controls: {name: string, kind: Kind}[]}[]}
 */
export function sections(venue, home, linked, elsewhere = () => false) {
  /** @type {Map<string, {name: string, kind: Kind, section: string}>} */
  const found = new Map();
  for (const zone of [home, ...linked]) {
    for (const [name, spec] of Object.entries(venue.zones[zone]?.controls ?? {})) {
      if (!found.has(name) && !elsewhere(zone, name)) found.set(name, { name, kind: spec.kind, section: spec.section || "room" });
    }
  }
  const known = /** @type {readonly string[]} */ (SECTIONS);
  const others = [...found.values()].map((control) => control.section).filter((section) => !known.includes(section));
  return [...new Set([...known, ...others])]
    .map((section) => ({
      section,
      controls: [...found.values()].filter((control) => control.section === section).map(({ name, kind }) => ({ name, kind })),
    }))
    .filter(({ controls }) => controls.length > 0);
}

/**
 * One control as several zones have it, for a panel that works all of them: the first one's, with a level's range and
 * ceiling as wide as any zone's. The service holds each zone to its own.
 * @param {Spec[]} specs
 * @returns {Spec | undefined}
 */
export function commonSpec(specs) {
  const [first] = specs;
  if (!first?.range) return first;
  const alike = specs.filter((spec) => spec.range && spec.unit === first.unit);
  const lows = alike.map((spec) => /** @type {[number, number]} */ (spec.range)[0]);
  const highs = alike.map((spec) => /** @type {[number, number]} */ (spec.range)[1]);
  const ceilings = alike.map((spec) => spec.ceiling ?? Infinity);
  const ceiling = Math.max(...ceilings);
  return { ...first, range: [Math.min(...lows), Math.max(...highs)], ceiling: ceiling === Infinity ? null : ceiling };
}
