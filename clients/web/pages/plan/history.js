/**
 * The plan's look back: at a time that is written, or along a timeline of walls and of one level in every room. What is
 * shown is what the journal has, and the page says as long as it lasts that it is the past.
 */
import { make, makeSvg, setAll, setText } from "../../elements/dom.js";
import { controlName, refusalWords, wallName, wallWords, zoneName } from "../../src/format.js";
import { levelPath, timeline, writtenInstant, writtenReading } from "../../src/history.js";
import { Pace } from "../../src/pace.js";
import { byId } from "../byid.js";

/** @typedef {import("../../src/session.js").Session} Session */
/** @typedef {import("../../src/types.js").Venue} Venue */
/** @typedef {import("../../src/journal.js").Entry} Entry */

const PAGE = 1000;
/** More than this many entries in one stretch are not fetched: the drawing then begins later, and says so. */
const PAGES_MAX = 10;
/** Where the scrubber can stand. */
const PLACES = 1000;

/** @param {Session} session */
export function startHistory(session) {
  const when = /** @type {HTMLInputElement} */ (byId("when"));
  const scrub = /** @type {HTMLInputElement} */ (byId("scrub"));
  const stretch = /** @type {HTMLSelectElement} */ (byId("stretch"));
  const level = /** @type {HTMLSelectElement} */ (byId("level"));
  const details = /** @type {HTMLDetailsElement} */ (byId("timeline"));
  const zone = () => session.venue?.venue.timezone ?? "UTC";
  /** @type {{from: number, to: number, view: any, entries: Entry[]} | null} */
  let seen = null;
  const pace = new Pace((/** @type {number} */ at) => lookBack(session, at), (run) => requestAnimationFrame(run));

  /** @param {number} at */
  const go = (at) => {
    when.value = writtenReading(at, zone());
    setAll(scrub, { "aria-valuetext": when.value.slice(11) });
    if (seen) {
      const part = Math.min(1, Math.max(0, (at - seen.from) / (seen.to - seen.from)));
      scrub.value = String(Math.round(part * PLACES));
      byId("tracks").style.setProperty("--at", String(part));
    }
    pace.offer(at);
  };
  const draw = () => session.venue && seen && drawTracks(session.venue, seen, level.value);
  const load = async () => {
    const to = Math.floor(session.serviceNow()) - 1;
    const from = to - Number(stretch.value) * 1000;
    setText(byId("stretch-note"), "Reading the journal.");
    try {
      const found = await entriesBetween(from, to);
      const first = found.entries[0];
      // Before the journal began there is nothing to show: then the stretch begins with it. Stamps are told to the
      // millisecond, and an entry counts from a little later.
      const began = first?.seq === 1 ? Date.parse(first.at) + 1 : from;
      seen = { from: began, to, view: await stateAt(began), entries: found.entries };
      setText(byId("stretch-note"), found.all ? "" : "More happened than can be drawn: the end of this stretch is not complete.");
      scrub.value = String(PLACES);
      byId("tracks").style.setProperty("--at", "1");
      setText(byId("from"), writtenReading(began, zone()).slice(11, 16));
      setText(byId("until"), writtenReading(to, zone()).slice(11, 16));
      draw();
    } catch (error) {
      setText(byId("stretch-note"), refusalWords(error));
    }
  };

  byId("back").addEventListener("submit", (event) => {
    event.preventDefault();
    const at = writtenInstant(when.value, zone());
    if (!Number.isNaN(at)) return go(at);
    when.setCustomValidity("Write year-month-day and hours:minutes, as 2026-11-25 19:42.");
    when.reportValidity();
  });
  when.addEventListener("input", () => when.setCustomValidity(""));
  // The hour to begin with, so that only what differs is written. It is the venue's, wherever this screen is.
  const begin = () => {
    if (!session.venue || session.store.seq < 0 || when.value) return;
    when.value = writtenReading(session.serviceNow(), zone()).slice(0, 16);
    setText(byId("when-how"), `24 hours, ${zone().replaceAll("_", " ")}`);
  };
  session.store.subscribe(["zones"], begin);
  begin();
  byId("now").addEventListener("click", () => {
    pace.forget();
    session.store.lookBack(null);
    byId("now").hidden = byId("past").hidden = true;
    scrub.value = String(PLACES);
    byId("tracks").style.setProperty("--at", "1");
  });
  scrub.addEventListener("input", () => seen && go(Math.round(seen.from + ((seen.to - seen.from) * Number(scrub.value)) / PLACES)));
  details.addEventListener("toggle", () => {
    if (!details.open || !session.venue) return;
    offerLevels(session.venue, level);
    void load();
  });
  stretch.addEventListener("change", () => void load());
  level.addEventListener("change", draw);
}

/**
 * @param {string} path
 * @returns {Promise<any>}
 */
async function ask(path) {
  const answer = await fetch(`/api/v1/${path}`, { headers: { accept: "application/json" } });
  const body = await answer.json();
  if (!answer.ok) throw { problem: body };
  return body;
}

/** @param {number} at */
function stateAt(at) {
  return ask(`state?at=${encodeURIComponent(new Date(at).toISOString())}`);
}

/**
 * @param {number} from
 * @param {number} to
 * @returns {Promise<{entries: Entry[], all: boolean}>}
 */
async function entriesBetween(from, to) {
  const between = `from=${new Date(from).toISOString()}&to=${new Date(to).toISOString()}&limit=${PAGE}`;
  /** @type {Entry[]} */
  const entries = [];
  let after = 0;
  for (let page = 0; page < PAGES_MAX; page++) {
    const found = await ask(`events?${between}&after=${after}`);
    entries.push(...found.events);
    if (found.events.length < PAGE) return { entries, all: true };
    after = found.next;
  }
  return { entries, all: false };
}

/**
 * Shows the place as the journal has it at an instant.
 * @param {Session} session
 * @param {number} at
 */
async function lookBack(session, at) {
  const past = byId("past");
  past.hidden = false;
  try {
    session.store.lookBack(await stateAt(at));
    byId("now").hidden = false;
    const venue = session.venue?.venue;
    setText(past, `This is the past: ${writtenReading(at, venue?.timezone ?? "UTC").replace(" ", ", ")}, ${venue?.timezone ?? "UTC"}. What happens now is not shown.`);
  } catch (error) {
    setText(past, `${refusalWords(error)} This is not shown.`);
  }
}

/**
 * @param {Venue} venue
 * @param {HTMLSelectElement} level
 */
function offerLevels(venue, level) {
  if (level.options.length) return;
  const levels = new Map(Object.values(venue.zones).flatMap((zone) => Object.entries(zone.controls).filter(([, spec]) => spec.kind === "level")));
  level.append(...[...levels].map(([control, spec]) => make("option", { value: control }, controlName(control, spec))));
}

/**
 * @param {Venue} venue
 * @param {{from: number, to: number, view: any, entries: Entry[]}} seen
 * @param {string} control
 */
function drawTracks(venue, { from, to, view, entries }, control) {
  const { walls, levels } = timeline(view, entries, from, to);
  const part = (/** @type {number} */ ms) => ((ms - from) / (to - from)) * 1000;
  const wallRows = [...walls].filter(([id]) => id in venue.partitions).map(([id, spans]) => {
    const lines = spans.map((span) => {
      const line = makeSvg("path", { class: "span", "data-position": span.position, d: `M${part(span.from).toFixed(2)} 50H${part(span.to).toFixed(2)}` });
      line.append(makeSvg("title", {}, document.createTextNode(wallWords(/** @type {any} */ (span)))));
      return line;
    });
    return track(wallName(venue, id), "wall", lines, spans.map((span) => span.position).join(", then "));
  });
  const levelRows = Object.entries(venue.zones).flatMap(([zone, { controls }]) => {
    const spec = controls[control];
    const points = levels.get(`${zone} ${control}`);
    if (!spec?.range || !points) return [];
    const line = makeSvg("path", { class: "level", d: levelPath(points, from, to, spec.range) });
    return [track(zoneName(venue, zone), "line", [line], `${controlName(control, spec)} from ${points[0]?.[1]} to ${points[points.length - 1]?.[1]} ${spec.unit ?? ""}`)];
  });
  byId("tracks").replaceChildren(...wallRows, ...levelRows);
}

/**
 * @param {string} name
 * @param {string} kind
 * @param {SVGElement[]} lines
 * @param {string} words  for who cannot see it
 */
function track(name, kind, lines, words) {
  const svg = makeSvg("svg", { viewBox: "0 0 1000 100", preserveAspectRatio: "none", class: kind, role: "img", "aria-label": `${name}: ${words}` }, ...lines);
  return make("div", { class: "track" }, make("span", { "aria-hidden": "true" }, name), svg);
}
