/**
 * What people check on site, in words. No DOM.
 *
 * @typedef {"pass" | "fail" | "not-applicable" | "open"} Result
 * @typedef {"pass" | "fail" | "not-applicable" | "again" | "open"} Standing
 *
 * @typedef {object} CheckRecord
 * @property {Result} result
 * @property {number | null} measured
 * @property {string} unit
 * @property {string} note
 * @property {string} who
 * @property {string} at       RFC 3339
 *
 * @typedef {object} Item
 * @property {string} item     its id, such as `wall/heron-plover/closed`
 * @property {string} kind
 * @property {string} of
 * @property {string} check
 * @property {string} title
 * @property {string} how
 * @property {string} unit     of what is usually measured; may be empty
 * @property {Standing} standing
 * @property {CheckRecord | null} record
 */

/** The kinds in the order in which one walks through a building, with their headings. */
export const HEADINGS = /** @type {Record<string, string>} */ ({
  wall: "Walls",
  panel: "Panels",
  device: "Devices",
  binding: "What drives what, and arming",
  override: "Override inputs",
  ceiling: "Ceilings",
});

/** A sign before the word: never colour alone. */
export const SIGNS = /** @type {Record<Standing, string>} */ ({ pass: "\u2713", fail: "\u2717", "not-applicable": "\u2013", again: "\u21bb", open: "\u25cb" });
export const STANDINGS = /** @type {Record<Standing, string>} */ ({
  pass: "Passed",
  fail: "Failed",
  "not-applicable": "Does not apply",
  again: "To be done again",
  open: "Open",
});

/** What is asked of a note that has to be there. */
export const NOTE_ASKED = /** @type {Record<string, string>} */ ({ fail: "Say in the note what is wrong.", "not-applicable": "Say in the note why it does not apply here." });

/** Whether there is still something to do: a failure is to be put right and checked once more. @param {Item} item */
export function isLeft({ standing }) {
  return standing !== "pass" && standing !== "not-applicable";
}

/** @param {Item[]} items */
export function summaryWords(items) {
  /** @param {Standing} standing */
  const count = (standing) => items.filter((item) => item.standing === standing).length;
  const parts = [`${count("pass")} of ${items.length} passed`];
  for (const standing of /** @type {Standing[]} */ (["fail", "again", "not-applicable", "open"])) {
    if (count(standing)) parts.push(`${count(standing)} ${STANDINGS[standing].toLowerCase().replace("does", count(standing) === 1 ? "does" : "do")}`);
  }
  return `${parts.join(", ")}.`;
}

/**
 * An instant with its date, in the venue's time zone.
 * @param {string} at
 * @param {string} [timezone]
 */
export function dateTime(at, timezone) {
  /** @type {Intl.DateTimeFormatOptions} */
  const how = { day: "numeric", month: "long", year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  try {
    return new Intl.DateTimeFormat("en-GB", { ...how, timeZone: timezone }).format(new Date(at));
  } catch {
    // A browser may lack a zone that the service knows.
    return new Intl.DateTimeFormat("en-GB", how).format(new Date(at));
  }
}

/**
 * What stands in the record; empty where nothing does.
 * @param {Item} item
 * @param {string} [timezone]
 */
export function recordWords({ standing, record }, timezone) {
  if (!record) return "";
  const found = standing === "again" ? `${STANDINGS[record.result]} before it changed` : record.result === "open" ? "Taken back" : STANDINGS[record.result];
  const measured = record.measured === null ? "" : `, ${String(Number(record.measured.toPrecision(10))).replace("-", "\u2212")}\u202f${record.unit}`;
  return `${found}${measured}: ${record.who}, ${dateTime(record.at, timezone)}${record.note ? `. ${record.note}` : ""}`;
}

/**
 * A number as people write it, with a point or a comma.
 * @param {string} text
 * @returns {number | null | undefined} null where nothing is written, undefined where it is no number
 */
export function measuredOf(text) {
  const plain = text.trim().replace("\u2212", "-").replace(",", ".");
  if (plain === "") return null;
  const value = Number(plain);
  return Number.isFinite(value) ? value : undefined;
}

/** The path of an item's record. @param {string} item */
export function pathOf(item) {
  return `/api/v1/commissioning/${item.split("/").map(encodeURIComponent).join("/")}`;
}
