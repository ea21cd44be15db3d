/**
 * `<rl-turns day="2026-11-25">` in a watching connection: the walls that people move on a day, for the crew to read and
 * to tick off; today in the venue's time zone where no day is given. It tells; nothing here moves a wall.
 */
import { wallName } from "../src/format.js";
import { TurnBook, dayOf, idOf, inOrder, moveWords, problemWords, sumWords, turnWords } from "../src/turns.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

/** @typedef {import("../src/types.js").Move} Move */

/** Told, bubbling, when another day is shown; `detail` is the day. */
export const DAY_EVENT = "rl-day";

const sheet = sheetOf(`
.sum { font-size: 1.25rem; }
.old { margin-top: 12px; padding: 12px 16px; background: var(--abnormal); color: var(--on-abnormal); font-weight: 600; }
.problems { list-style: none; margin: 16px 0 0; padding: 0; display: grid; gap: 12px; }
.problems:empty { display: none; }
.problems > li { padding: 12px 16px; border: 3px solid var(--mark); }
.problems b::before { content: "\\25B3\\00a0"; color: var(--mark); }
.problems ul { margin: 8px 0 0; padding-left: 1.2em; }
.problems b { font-weight: 600; }
section { margin-top: 34px; }
h2 { margin: 0; font-size: 1.5rem; font-weight: 400; line-height: 1.2; overflow-wrap: anywhere; }
section > p { color: var(--faint); }
ol { list-style: none; margin: 16px 0 0; padding: 0 7px; display: grid; gap: 26px; }
.move { display: grid; gap: 2px; }
.title { display: flex; flex-wrap: wrap; justify-content: space-between; gap: 0 18px; align-items: baseline; font-size: 1.375rem; line-height: 1.25; }
.title h3 { margin: 0; font-size: inherit; font-weight: 600; }
.window { font-size: 1.25rem; }
.faint { color: var(--faint); }
.late, .disagrees { margin-top: 6px; padding: 8px 12px; font-weight: 600; }
.late { background: var(--abnormal); color: var(--on-abnormal); }
.late::before { content: "\\25B2\\00a0\\00a0"; }
.disagrees { border: 2px solid var(--mark); }
.disagrees::before { content: "\\2260\\00a0\\00a0"; color: var(--mark); }
.mark { margin-top: 6px; padding: 8px 12px; font-weight: 600; border: 2px solid var(--mark); }
.mark::before { content: "\\25B3\\00a0\\00a0"; color: var(--mark); }
.late:empty, .disagrees:empty, .mark:empty, .after:empty, .tick:empty { display: none; }
.tick::before { content: "\\2713\\00a0\\00a0"; font-weight: 700; }
summary { display: flex; align-items: center; min-height: 44px; width: max-content; cursor: pointer; font-size: 1rem; color: var(--faint); text-decoration: underline; text-underline-offset: 5px; }
input { width: 100%; min-height: 48px; padding: 0 12px; font: inherit; color: var(--ink); background: var(--rl-ground, #14110e); border: 1px solid var(--edge); border-radius: 0; }
.key { min-height: 64px; margin-top: 12px; padding: 8px 16px; border: 2px solid var(--edge); text-align: center; font-size: 1.25rem; touch-action: manipulation; }
.key[data-state="done"] { min-height: 48px; border-width: 1px; font-size: 1.125rem; }
.key[data-asked] { border-style: dashed; background: var(--hatch); }
.key[aria-disabled="true"]:not([data-asked]) { opacity: 0.6; }
.move[data-state="done"] .title h3::before { content: "\\2713\\00a0"; }
`);

/** @typedef {Record<"wall" | "what" | "between" | "window" | "planned" | "sensor" | "tick" | "late" | "disagrees" | "mark" | "after" | "note", HTMLElement>} Words */

export class RlTurns extends RlElement {
  static observedAttributes = ["day"];
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["turns"];
  }

  /** @override */
  build() {
    this.sum = make("p", { class: "sum", part: "sum", role: "status" });
    this.old = make("p", { class: "old", part: "old", role: "status", hidden: true });
    this.problems = make("ul", { class: "problems", part: "problems", "aria-label": "What cannot be done" });
    this.list = make("div", { part: "turns" });
    /** @type {Map<string, {node: HTMLElement, words: Words, key: HTMLButtonElement, more: HTMLElement}>} */
    this.rows = new Map();
    /** @type {string} of what the rows were made */
    this.drawn = "";
    this.seen = -1;
    this.wasLive = false;
    /** @type {string} the day that is shown */
    this.day = "";
    /** @type {number | undefined} */
    this.clock = undefined;
    this.book = new TurnBook({
      ask: (path) => this.session?.ask(path) ?? Promise.reject(new Error("The service cannot be reached.")),
      put: (path, body) => this.session?.put(path, body) ?? Promise.reject(new Error("The service cannot be reached.")),
      timers: { set: (run, ms) => window.setTimeout(run, ms), clear: (handle) => window.clearTimeout(handle) },
      now: () => performance.now(),
      changed: () => this.#paint(),
    });
    this.root.append(this.sum, this.old, this.problems, this.list);
  }

  /** @override */
  connectedCallback() {
    super.connectedCallback();
    window.clearTimeout(this.clock);
    this.#eachMinute();
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    window.clearTimeout(this.clock);
    this.book?.stop();
  }

  /** What is late, and which day it is, changes with the minute. */
  #eachMinute() {
    const now = this.session?.serviceNow() ?? Date.now();
    this.clock = window.setTimeout(() => {
      this.seen = -1;
      this.update();
      this.#eachMinute();
    }, 60_000 - (now % 60_000) + 50);
  }

  /** @override */
  update() {
    const { session, book } = this;
    if (!session?.venue || !book) return;
    const day = this.getAttribute("day") || dayOf(session.serviceNow(), session.venue.venue.timezone);
    if (day !== this.day) {
      this.day = day;
      this.dispatchEvent(new CustomEvent(DAY_EVENT, { detail: day, bubbles: true, composed: true }));
    }
    book.show(day);
    const news = session.store.turns !== this.seen || (session.live && !this.wasLive);
    this.seen = session.store.turns;
    this.wasLive = session.live;
    if (news && session.live) book.news();
    this.#paint();
  }

  #paint() {
    const { session, book, sum, old, problems, list } = this;
    if (!session?.venue || !book || !sum || !old || !problems || !list) return;
    const said = book.list;
    setAll(this, { "data-stale": !session.live });
    const why = !session.live ? session.trouble || session.venueTrouble : book.trouble;
    setAll(old, { hidden: !why || said === null && !book.trouble });
    setText(old, why ? `This list may be old, and nothing can be ticked off now. ${why}` : "");
    if (!said) {
      setText(sum, "\u2026");
      problems.replaceChildren();
      list.replaceChildren();
      this.drawn = "";
      return;
    }
    setText(sum, sumWords(said));
    this.#draw(said);
    const usable = session.live && !book.trouble;
    for (const move of said.turns.flatMap((turn) => turn.moves)) this.#paintMove(said, move, usable);
  }

  /** @param {import("../src/types.js").TurnList} said */
  #draw(said) {
    const venue = /** @type {import("../src/types.js").Venue} */ (this.session?.venue);
    const turns = inOrder(said);
    const troubles = problemWords(said);
    // What is drawn stays under the finger while its words change.
    const key = JSON.stringify([troubles, turns.map((turn) => [turnWords(venue, said, turn), turn.moves.map(idOf)])]);
    if (key === this.drawn) return;
    this.drawn = key;
    this.rows?.clear();
    this.problems?.replaceChildren(
      ...troubles.map(({ text, ways }) => make("li", {}, make("b", {}, text), ...(ways.length ? [make("ul", {}, ...ways.map((way) => make("li", { class: "way" }, way)))] : []))),
    );
    this.list?.replaceChildren(
      ...turns.map((turn) => {
        const { title, rooms } = turnWords(venue, said, turn);
        return make("section", { part: "turn", "data-booking": turn.booking }, make("h2", {}, title), make("p", {}, rooms), make("ol", {}, ...turn.moves.map((move) => this.#row(move))));
      }),
    );
  }

  /** @param {Move} move */
  #row(move) {
    const p = (/** @type {string} */ name) => make("p", { class: name, part: name });
    /** @type {Words} */
    const words = {
      wall: make("h3", { part: "wall" }), what: make("span", { part: "what" }), between: p("faint"), window: p("window"), planned: p("faint"),
      sensor: p("sensor"), tick: p("tick"), late: p("late"), disagrees: p("disagrees"), mark: p("mark"), after: p("after"), note: make("p", { class: "note", part: "note", role: "status" }),
    };
    const key = make("button", { type: "button", class: "key", part: "key" });
    const remark = make("input", { maxlength: "200", autocomplete: "off", "aria-label": `Note, ${wallName(this.session?.venue ?? null, move.partition)}` });
    const more = make("details", { part: "remark" }, make("summary", {}, "Add a note"), remark);
    const id = idOf(move);
    key.addEventListener("click", () => {
      const now = this.book?.list?.turns.flatMap((turn) => turn.moves).find((one) => idOf(one) === id);
      if (now && key.getAttribute("aria-disabled") !== "true") void this.book?.tick(now, !now.tick, now.tick ? "" : remark.value.trim());
    });
    const { wall, what, between, window: times, planned, sensor, tick, late, disagrees, mark, after, note } = words;
    const node = make("li", { class: "pane move", part: "pane", "data-move": id }, make("div", { class: "title" }, wall, what), between, mark, times, planned, after, sensor, tick, late, disagrees, more, key, note);
    this.rows?.set(id, { node, words, key, more });
    return node;
  }

  /**
   * @param {import("../src/types.js").TurnList} said
   * @param {Move} move
   * @param {boolean} usable
   */
  #paintMove(said, move, usable) {
    const { session, book } = this;
    const row = this.rows?.get(idOf(move));
    if (!row || !session?.venue || !book) return;
    const asked = book.asked.get(idOf(move))?.done;
    const told = moveWords(session.venue, said, move, session.serviceNow(), asked);
    for (const name of /** @type {const} */ (["wall", "what", "between", "window", "planned", "sensor", "tick", "late", "disagrees", "mark", "after"])) setText(row.words[name], told[name]);
    setText(row.words.note, book.refused.get(idOf(move)) ?? "");
    setAll(row.node, { "data-state": told.state, "data-late": move.late, "data-disagrees": move.disagrees });
    setText(row.key, told.key);
    // A note goes with a tick: it is written before.
    setAll(row.more, { hidden: move.tick !== null || asked !== undefined });
    setAll(row.key, {
      "data-state": told.state,
      "data-asked": asked !== undefined,
      "aria-disabled": String(!usable || asked !== undefined),
      "aria-label": `${told.key}: ${told.wall}, ${told.window}`,
    });
  }
}
