/** The journal, newest first, filtered by the service; new entries come as they happen. */
import { make, setText } from "../../elements/dom.js";
import { clockTime, zoneName } from "../../src/format.js";
import { didWords, eventsQuery, eventWords, TYPES, whoWords } from "../../src/journal.js";
import { byId } from "../byid.js";

/** @typedef {import("../../src/types.js").Venue} Venue */
/** @typedef {import("../../src/journal.js").Entry} Entry */

const ROWS_MAX = 300;
const SENTENCES_MAX = 4;
/** So long after the last key a name is taken as written. */
const TYPING_MS = 400;

/** @param {Venue} venue */
export function startJournal(venue) {
  const form = /** @type {HTMLFormElement} */ (byId("filters"));
  const follow = /** @type {HTMLInputElement} */ (byId("follow"));
  byId("filter-zone").append(...Object.keys(venue.zones).map((zone) => make("option", { value: zone }, zoneName(venue, zone))));
  byId("filter-type").append(...Object.entries(TYPES).map(([type, name]) => make("option", { value: type }, name)));
  byId("whos").append(...[...Object.keys(venue.controllers), "service"].map((who) => make("option", { value: who })));
  const body = make("tbody");
  byId("journal-table").replaceChildren(
    make("thead", {}, make("tr", {}, ...["When", "Who", "What happened"].map((head) => make("th", { scope: "col" }, head)))),
    body,
  );
  /** @type {EventSource | null} */
  let stream = null;
  let round = 0;
  const show = async () => {
    const mine = ++round;
    stream?.close();
    stream = null;
    const chosen = new FormData(form);
    const filter = { zone: String(chosen.get("zone") ?? ""), type: String(chosen.get("type") ?? ""), who: String(chosen.get("who") ?? "").trim() };
    try {
      const answer = await fetch(`/api/v1/events?${eventsQuery(filter, { limit: "100" })}`, { headers: { accept: "application/json" } });
      const found = await answer.json();
      if (!answer.ok) throw new Error(found.detail || found.title);
      if (mine !== round) return;
      const entries = /** @type {Entry[]} */ (found.events);
      body.replaceChildren(...entries.reverse().map((entry) => row(venue, entry)));
      setText(byId("journal-note"), entries.length ? "" : "Nothing like that has happened.");
      if (follow.checked) stream = followed(venue, body, eventsQuery(filter, { after: String(found.next) }));
    } catch (error) {
      if (mine === round) setText(byId("journal-note"), `The journal cannot be shown. ${/** @type {Error} */ (error).message}`);
    }
  };
  /** @type {number | undefined} */
  let typing;
  form.addEventListener("input", () => {
    window.clearTimeout(typing);
    typing = window.setTimeout(show, TYPING_MS);
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  // A stream that nobody sees would only keep the service busy.
  addEventListener("pagehide", () => stream?.close());
  addEventListener("pageshow", (event) => event.persisted && void show());
  void show();
}

/**
 * @param {Venue} venue
 * @param {HTMLElement} body
 * @param {string} query
 */
function followed(venue, body, query) {
  const stream = new EventSource(`/api/v1/events?${query}`);
  stream.addEventListener("entry", (event) => {
    body.prepend(row(venue, JSON.parse(event.data)));
    while (body.children.length > ROWS_MAX) body.lastElementChild?.remove();
    setText(byId("journal-note"), "");
  });
  // The browser comes back by itself, and asks for what it missed.
  stream.addEventListener("error", () => setText(byId("journal-note"), "The journal is not current; trying again."));
  stream.addEventListener("open", () => setText(byId("journal-note"), ""));
  return stream;
}

/**
 * @param {Venue} venue
 * @param {Entry} entry
 */
function row(venue, entry) {
  const sentences = entry.events.map((event) => eventWords(venue, event)).filter(Boolean);
  const seconds = entry.at.slice(17, 19);
  return make(
    "tr",
    {},
    make("td", {}, make("time", { datetime: entry.at, title: entry.at }, `${clockTime(entry.at, venue.venue.timezone)}:${seconds}`)),
    make("td", {}, whoWords(venue, entry), make("small", {}, [didWords(entry), entry.where && `from ${entry.where}`].filter(Boolean).join(", "))),
    make("td", {}, ...told(sentences)),
  );
}

/**
 * All of a long entry is there, and its first sentences are seen.
 * @param {string[]} sentences
 */
function told(sentences) {
  const lines = sentences.map((sentence) => make("p", {}, sentence));
  if (lines.length <= SENTENCES_MAX + 1) return lines.length ? lines : ["Nothing that shows."];
  const rest = lines.splice(SENTENCES_MAX);
  return [...lines, make("details", {}, make("summary", {}, `and ${rest.length} more`), ...rest)];
}
