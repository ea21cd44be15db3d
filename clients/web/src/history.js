/**
 * What levels and walls did in a stretch of time, from the view at its start and the journal's entries since; and wall
 * clock times of a place as instants.
 *
 * @typedef {import("./store.js").View} View
 * @typedef {import("./types.js").Position} Position
 * @typedef {import("./journal.js").Entry} Entry
 * @typedef {{from: number, to: number, position: Position, trust: string}} Span  milliseconds since 1970
 * @typedef {[number, number]} LevelPoint  milliseconds since 1970, and the value in the level's unit
 * @typedef {{origin: number, to: number, start: number, seconds: number}} Ramp  `start` in milliseconds since 1970
 */

/**
 * @param {Partial<View>} view     as it was at `from`
 * @param {Entry[]} entries        those since, in their order
 * @param {number} from            milliseconds since 1970
 * @param {number} to
 * @returns {{walls: Map<string, Span[]>, levels: Map<string, LevelPoint[]>}} levels by `zone control`
 */
export function timeline(view, entries, from, to) {
  /** @type {Map<string, Span[]>} */
  const walls = new Map();
  for (const [id, { position, trust }] of Object.entries(view.partitions ?? {})) walls.set(id, [{ from, to, position, trust }]);
  /** @type {Map<string, {points: LevelPoint[], ramp: Ramp}>} */
  const drawn = new Map();
  for (const [zone, { controls }] of Object.entries(view.zones ?? {})) {
    for (const [control, { kind, value, moving }] of Object.entries(controls ?? {})) {
      if (kind !== "level" || typeof value !== "number") continue;
      const ramp = moving ? { origin: moving.from, to: moving.to, start: Date.parse(moving.start), seconds: moving.seconds } : resting(value);
      drawn.set(`${zone} ${control}`, { points: [[from, valueAt(ramp, from)]], ramp });
    }
  }
  for (const entry of entries) {
    const at = Date.parse(entry.at);
    if (at < from || at > to) continue;
    for (const event of entry.events) {
      if (event.type === "wall") turned(walls, event.partition, event.now, at, to);
      if (event.type === "control" && event.kind === "level") ordered(drawn, `${event.zone} ${event.control}`, event.now, at);
    }
  }
  for (const each of drawn.values()) followed(each, to);
  return { walls, levels: new Map([...drawn].map(([key, { points }]) => [key, points])) };
}

/**
 * @param {number} value
 * @returns {Ramp}
 */
function resting(value) {
  return { origin: value, to: value, start: 0, seconds: 0 };
}

/**
 * @param {Ramp} ramp
 * @param {number} ms
 */
function valueAt({ origin, to, start, seconds }, ms) {
  const elapsed = (ms - start) / 1000;
  if (elapsed >= seconds) return to;
  return elapsed <= 0 ? origin : origin + ((to - origin) * elapsed) / seconds;
}

/**
 * @param {Map<string, Span[]>} walls
 * @param {string} id
 * @param {{position: Position, trust: string}} now
 * @param {number} at
 * @param {number} to
 */
function turned(walls, id, { position, trust }, at, to) {
  const spans = walls.get(id) ?? [];
  const last = spans[spans.length - 1];
  if (last?.position === position && last.trust === trust) return;
  if (last) last.to = at;
  walls.set(id, [...spans, { from: at, to, position, trust }]);
}

/**
 * @param {Map<string, {points: LevelPoint[], ramp: Ramp}>} drawn
 * @param {string} key
 * @param {Record<string, any>} now  the record: `start` in seconds since 1970
 * @param {number} at
 */
function ordered(drawn, key, now, at) {
  const ramp = { origin: now.origin, to: now.to, start: now.start * 1000, seconds: now.seconds };
  const known = drawn.get(key) ?? { points: /** @type {LevelPoint[]} */ ([]), ramp };
  if (known.ramp !== ramp) followed(known, at);
  known.points.push([at, valueAt(ramp, at)]);
  known.ramp = ramp;
  drawn.set(key, known);
}

/**
 * Goes on along the ramp until an instant.
 * @param {{points: LevelPoint[], ramp: Ramp}} known
 * @param {number} until
 */
function followed({ points, ramp }, until) {
  const end = ramp.start + ramp.seconds * 1000;
  const last = points[points.length - 1];
  if (last && end > last[0] && end < until) points.push([end, ramp.to]);
  points.push([until, valueAt(ramp, until)]);
}

/**
 * A level as the `d` of an SVG path, in a box of 1000 by 100.
 * @param {LevelPoint[]} points
 * @param {number} from
 * @param {number} to
 * @param {[number, number]} range
 */
export function levelPath(points, from, to, [lo, hi]) {
  const x = (/** @type {number} */ ms) => Math.round(((ms - from) / (to - from)) * 1e5) / 100;
  const y = (/** @type {number} */ value) => Math.round((1 - (value - lo) / (hi - lo || 1)) * 1e4) / 100;
  return points.map(([ms, value], i) => `${i === 0 ? "M" : "L"}${x(ms)} ${y(value)}`).join("");
}

/**
 * A wall clock's reading as people write it, with 24 hours: 2026-11-25 19:42, with seconds or a T where they like.
 * @param {string} text
 * @param {string} timezone
 * @returns {number} milliseconds since 1970; NaN for what is no time
 */
export function writtenInstant(text, timezone) {
  const found = /^(\d{4}-\d\d-\d\d)(?:\s+|T)(\d{1,2}):(\d\d)(?::(\d\d))?$/.exec(text.trim());
  if (!found) return NaN;
  const [, day, hour = "", minute, second = "00"] = found;
  return zonedInstant(`${day}T${hour.padStart(2, "0")}:${minute}:${second}`, timezone);
}

/**
 * The same as a person writes it.
 * @param {number} ms
 * @param {string} timezone
 */
export function writtenReading(ms, timezone) {
  return zonedReading(ms, timezone).replace("T", " ");
}

/**
 * The instant of a wall clock's reading, as ISO 8601 has it, in a time zone; the first of two when clocks go back.
 * @param {string} local      such as 2026-11-25T19:42 or 2026-11-25T19:42:10
 * @param {string} timezone
 * @returns {number} milliseconds since 1970; NaN for what is no time
 */
export function zonedInstant(local, timezone) {
  const reading = Date.parse(`${local}Z`);
  if (Number.isNaN(reading)) return reading;
  // The offset is that of the instant, which depends on the offset: the earlier guess first, so that of two the first is taken.
  const guesses = [reading - offset(reading - 864e5, timezone), reading - offset(reading + 864e5, timezone)];
  return guesses.find((guess) => guess + offset(guess, timezone) === reading) ?? /** @type {number} */ (guesses[0]);
}

/**
 * What a wall clock reads at an instant, as ISO 8601 has it.
 * @param {number} ms
 * @param {string} timezone
 */
export function zonedReading(ms, timezone) {
  return new Date(ms + offset(ms, timezone)).toISOString().slice(0, 19);
}

/**
 * How far a zone's clocks are ahead of UTC, in milliseconds.
 * @param {number} ms
 * @param {string} timezone
 */
function offset(ms, timezone) {
  const whole = Math.floor(ms / 1000) * 1000;
  /** @type {Record<string, string>} */
  const part = {};
  try {
    const format = new Intl.DateTimeFormat("en-GB", { timeZone: timezone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit" });
    for (const { type, value } of format.formatToParts(whole)) part[type] = value;
  } catch {
    // A browser may lack a zone that the service knows: then it is UTC, and the page says which zone it means.
    return 0;
  }
  return Date.parse(`${part.year}-${part.month}-${part.day}T${part.hour}:${part.minute}:${part.second}Z`) - whole;
}
