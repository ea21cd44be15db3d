/**
 * The walls that people move on a day: what the service says of them, what was ticked here and is not yet seen, and all
 * of it in words. No DOM, no clock: the ports are handed in.
 *
 * @typedef {import("./types.js").TurnList} TurnList
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Move} Move
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Timers} Timers
 *
 * @typedef {object} TurnPorts
 * @property {(path: string) => Promise<any>} ask                                   GET below `/api/v1/`
 * @property {(path: string, body: Record<string, unknown>) => Promise<any>} put    PUT below `/api/v1/`
 * @property {Timers} timers
 * @property {() => number} now        milliseconds that never go back
 * @property {() => void} changed      told when there is something else to show
 */
import { capitalised, clockTime, listed, personWords, refusalWords, wallName, words, zoneName } from "./format.js";
import { markWords } from "./wall-marks.js";

/** However much happens, the list is asked for once in so long a time. */
export const ASK_EVERY_MS = 1000;
/** What failed is tried again after so long. */
export const AGAIN_MS = 5000;

/** @param {{partition: string, key: string}} move */
export const idOf = ({ partition, key }) => `${partition}/${key}`;

export class TurnBook {
  /** @param {TurnPorts} ports */
  constructor(ports) {
    this.ports = ports;
    this.day = "";
    /** @type {TurnList | null} what the service last said of this day */
    this.list = null;
    /** why the list may be old; empty while it is not */
    this.trouble = "";
    /** @type {Map<string, {done: boolean, answered: boolean}>} what was ticked here and is not yet seen in a list */
    this.asked = new Map();
    /** @type {Map<string, string>} why a tick was not taken, by move */
    this.refused = new Map();
    this.askedAt = -Infinity;
    this.busy = false;
    this.again = false;
    /** @type {unknown} */
    this.timer = null;
  }

  /** Shows a day, from now on. @param {string} day  YYYY-MM-DD */
  show(day) {
    if (day === this.day) return;
    this.day = day;
    this.list = null;
    this.askedAt = -Infinity;
    this.asked.clear();
    this.refused.clear();
    this.news();
  }

  /** Something happened that may change the list: it is asked for, soon. */
  news() {
    this.again = true;
    if (this.busy || !this.day) return;
    const wait = this.askedAt + ASK_EVERY_MS - this.ports.now();
    if (wait <= 0) void this.#load();
    else this.#later(wait);
  }

  /** Asks no more. */
  stop() {
    if (this.timer !== null) this.ports.timers.clear(this.timer);
    this.timer = null;
    this.day = "";
  }

  /**
   * Puts down that a move was done, or takes that back. What was asked is seen in `asked` at once.
   * @param {Move} move
   * @param {boolean} done
   * @param {string} [note]
   */
  async tick(move, done, note = "") {
    const id = idOf(move);
    const entry = { done, answered: false };
    this.asked.set(id, entry);
    this.refused.delete(id);
    this.ports.changed();
    try {
      await this.ports.put(`turns/${encodeURIComponent(move.partition)}/${encodeURIComponent(move.key)}`, note ? { done, note } : { done });
      entry.answered = true;
      this.askedAt = -Infinity;
      this.news();
    } catch (error) {
      if (this.asked.get(id) === entry) this.asked.delete(id);
      this.refused.set(id, refusalWords(error));
      this.ports.changed();
    }
  }

  /** @param {number} wait */
  #later(wait) {
    if (this.timer !== null) return;
    this.timer = this.ports.timers.set(() => {
      this.timer = null;
      if (this.day && !this.busy) void this.#load();
    }, wait);
  }

  async #load() {
    const { day, ports } = this;
    this.busy = true;
    this.again = false;
    this.askedAt = ports.now();
    // What was answered before the list is asked for is in it.
    const seen = [...this.asked].filter(([, { answered }]) => answered);
    try {
      const list = await ports.ask(`turns?day=${encodeURIComponent(day)}`);
      if (day !== this.day) return;
      this.list = list;
      this.trouble = "";
      for (const [id, entry] of seen) if (this.asked.get(id) === entry) this.asked.delete(id);
    } catch (error) {
      if (day !== this.day) return;
      this.trouble = refusalWords(error);
      this.#later(AGAIN_MS);
    } finally {
      this.busy = false;
      if (this.day) {
        ports.changed();
        if (this.again || day !== this.day) this.news();
      }
    }
  }
}

// Order

/** When the first wall of a turn is due, in milliseconds. @param {Turn} turn */
const dueOf = (turn) => Math.min(...turn.moves.map((move) => Date.parse(move.not_after)), Date.parse(turn.people_from));

/** The turns that have walls to be moved, in the order in which these are due. @param {TurnList} list */
export function inOrder({ turns }) {
  return turns
    .filter((turn) => turn.moves.length > 0)
    .map((turn) => ({ ...turn, moves: [...turn.moves].sort((a, b) => Date.parse(a.not_after) - Date.parse(b.not_after) || a.partition.localeCompare(b.partition)) }))
    .sort((a, b) => dueOf(a) - dueOf(b) || a.booking.localeCompare(b.booking));
}

// Days

/**
 * The day that it is in a place.
 * @param {number} ms  since 1970
 * @param {string} [timezone]
 */
export function dayOf(ms, timezone) {
  /** @type {Intl.DateTimeFormatOptions} */
  const how = { year: "numeric", month: "2-digit", day: "2-digit" };
  try {
    return new Intl.DateTimeFormat("en-CA", { ...how, timeZone: timezone }).format(ms);
  } catch {
    // A browser may lack a zone that the service knows.
    return new Intl.DateTimeFormat("en-CA", how).format(ms);
  }
}

/**
 * A day so many days on.
 * @param {string} day
 * @param {number} days
 */
export function dayFrom(day, days) {
  return new Date(Date.parse(`${day}T12:00:00Z`) + days * 86_400_000).toISOString().slice(0, 10);
}

/** "Wednesday 25 November 2026". @param {string} day */
export function dayWords(day) {
  const how = /** @type {const} */ ({ weekday: "long", day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  return new Intl.DateTimeFormat("en-GB", how).format(Date.parse(`${day}T12:00:00Z`)).replace(",", "");
}

/** Whether it is a day at all. @param {string} text */
export function isDay(text) {
  const at = Date.parse(`${text}T12:00:00Z`);
  return /^\d{4}-\d\d-\d\d$/.test(text) && !Number.isNaN(at) && new Date(at).toISOString().startsWith(text);
}

// Words

/**
 * A time of day; with its date where that is not the day shown.
 * @param {string} at  RFC 3339
 * @param {TurnList} list
 */
function timeWords(at, { day, timezone }) {
  const there = dayOf(Date.parse(at), timezone);
  if (there === day) return clockTime(at, timezone);
  const how = /** @type {const} */ ({ day: "numeric", month: "short", timeZone: "UTC" });
  return `${clockTime(at, timezone)} (${new Intl.DateTimeFormat("en-GB", how).format(Date.parse(`${there}T12:00:00Z`))})`;
}

/** @param {number} minutes */
function minuteWords(minutes) {
  const whole = Math.max(1, Math.round(minutes));
  if (whole < 60) return `${whole} ${whole === 1 ? "minute" : "minutes"}`;
  const [hours, rest] = [Math.floor(whole / 60), whole % 60];
  return `${hours} h${rest ? ` ${rest} min` : ""}`;
}

/**
 * A turn's heading and what is under it.
 * @param {Venue} venue
 * @param {TurnList} list
 * @param {Turn} turn
 */
export function turnWords(venue, list, turn) {
  const begins = turn.begins === turn.people_from ? "" : `; set-up from ${timeWords(turn.begins, list)}`;
  return { title: capitalised(turn.title), rooms: `${listed(turn.zones.map((zone) => zoneName(venue, zone)))}, people from ${timeWords(turn.people_from, list)}${begins}` };
}

/**
 * All that is said of one move.
 * @param {Venue} venue
 * @param {TurnList} list
 * @param {Move} move
 * @param {number} nowMs            the service's time
 * @param {boolean | undefined} asked  what was asked of its tick and is not yet seen
 */
export function moveWords(venue, list, move, nowMs, asked) {
  const between = venue.partitions[move.partition]?.between ?? [];
  const crew = move.planned && (list.crews[move.planned.crew]?.name || words(move.planned.crew));
  const due = Date.parse(move.not_after);
  const by = timeWords(move.not_after, list);
  const window = `by ${by}${move.not_before ? `, not before ${timeWords(move.not_before, list)}` : ""}`;
  const planned = move.planned ? `${crew}, ${timeWords(move.planned.start, list)} to ${timeWords(move.planned.end, list)}` : "No crew has it";
  const tick = move.tick ? `Ticked off by ${personWords(venue, move.tick.who)} at ${timeWords(move.tick.at, list)}${move.tick.note ? `: ${move.tick.note}` : ""}` : "";
  return {
    wall: wallName(venue, move.partition),
    between: between.length ? `between ${listed(between.map((zone) => zoneName(venue, zone)))}` : "",
    what: move.to === "open" ? "Open it" : "Close it",
    window: capitalised(window),
    planned: `${planned}; about ${minuteWords(move.minutes)}${move.assumed ? ", a guess" : ""}`,
    sensor: move.now === "unknown" ? "Where it stands now is not known" : move.now === "moving" ? "It is moving now" : `It stands ${move.now} now${move.met ? ", as it should" : ""}`,
    tick,
    late: move.late ? `Late: it was due at ${by}${nowMs > due ? `, ${minuteWords((nowMs - due) / 60_000)} ago` : ""}${move.alarm ? "; an alarm stands" : ""}` : "",
    mark: markWords(move, list.timezone, venue),
    after: move.after?.length ? `After ${listed(move.after.map((wall) => wallName(venue, wall)))}, on the same track` : "",
    disagrees: !move.disagrees ? "" : move.now === "moving" ? "Ticked off, but it is moving: look at it" : `Ticked off as ${move.to}, but it stands ${move.now}: look at it`,
    state: asked === undefined ? (move.tick ? "done" : move.met ? "met" : "open") : asked ? "asked" : "taking-back",
    key: asked === undefined ? (move.tick ? "Take back" : `Tick off: it is ${move.to}`) : asked ? "Asked: tick off\u2026" : "Asked: take back\u2026",
  };
}

/**
 * What a day comes to, as one sentence.
 * @param {TurnList} list
 */
export function sumWords(list) {
  const moves = list.turns.flatMap((turn) => turn.moves);
  if (moves.length === 0) return "No wall needs to be moved on this day.";
  const done = moves.filter((move) => move.tick).length;
  const late = moves.filter((move) => move.late).length;
  const wall = (/** @type {number} */ count) => `${count} ${count === 1 ? "move" : "moves"}`;
  const checked = list.feasible !== null ? "" : list.checked === "no crews" ? " No crews are set down, so nobody has worked out whether it can be done in time." : " There is too much to work out whether it can be done in time.";
  return `${wall(moves.length)} of walls: ${done || "none"} ticked off${late ? `, ${late} late` : ""}.${checked}`;
}

/**
 * What cannot be done, and the ways out.
 * @param {TurnList} list
 * @returns {{text: string, ways: string[], moves: string[]}[]}  `moves`: the ids of the moves in question
 */
export function problemWords(list) {
  return list.problems.map(({ text, ways, moves }) => ({ text: capitalised(text), ways: ways.map(capitalised), moves: moves.map(idOf) }));
}
