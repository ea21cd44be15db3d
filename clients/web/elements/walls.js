/**
 * `<rl-walls>` in a watching connection: every wall in words, and where it is. A simulated wall can be moved; for a real
 * one, or instead of moving it, a person states where it is for a time, and takes that back. Nothing here drives a wall.
 */
import { requestWords } from "../src/bookings.js";
import { divisionWords, mismatchWords } from "../src/divisions.js";
import { refusalWords, wallName, wallWords } from "../src/format.js";
import { doorWords, markWords } from "../src/wall-marks.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.list { display: grid; gap: 22px 26px; grid-template-columns: repeat(auto-fill, minmax(min(100%, 15rem), 1fr)); }
.title { font-size: 1.25rem; }
.position { margin-top: 2px; }
.position[data-odd]::before { content: "\\25B3\\00a0"; color: var(--mark); font-weight: 700; }
.asked { margin-top: 4px; padding-left: 12px; border-left: 4px solid var(--line); }
.asked[data-due] { border-left-color: var(--abnormal); }
.asked:empty, .division:empty { display: none; }
.division { margin-top: 4px; padding-left: 12px; border-left: 4px solid var(--mark); }
.division[data-odd] { border-left-color: var(--abnormal); }
.keys { display: flex; flex-wrap: wrap; gap: 8px; margin-top: 12px; align-items: center; }
.keys .cell { flex: 1 1 5.25rem; font-size: 1.125rem; }
.keys .cell[part="combine"], .keys .cell[part="apart"], .keys .cell[part="unpin"] { flex-basis: 8rem; }
.keys label { flex: 1 1 100%; min-width: 0; display: flex; flex-wrap: wrap; gap: 4px 10px; align-items: center; font-size: 1rem; color: var(--faint); }
.cell[part="unmark"] { margin-top: 12px; padding: 8px 16px; }
summary { display: flex; align-items: center; min-height: 44px; width: max-content; cursor: pointer; font-size: 1rem; color: var(--faint); text-decoration: underline; text-underline-offset: 5px; }
input { width: 100%; min-height: 48px; padding: 0 12px; font: inherit; color: var(--ink); background: var(--rl-ground, #14110e); border: 1px solid var(--edge); border-radius: 0; }
select { min-width: 0; max-width: 100%; font: inherit; color: var(--ink); background: var(--rl-ground, #14110e); border: 1px solid var(--line); min-height: 48px; padding: 0 10px; flex: 1 1 9rem; }
`);

/** Not pinned: what follows depends on what there is to hear. */
const SENSOR = "until the sensor next reports";
const RUN = "not stated: let it run";
/** How long a stated position holds against the sensor, in seconds. */
const PINS = /** @type {[string, string][]} */ ([
  ["900", "for 15 minutes"],
  ["3600", "for an hour"],
  ["14400", "for 4 hours"],
  ["43200", "for 12 hours"],
]);

/** What is chosen at first where no sensor will report. */
const HOUR = "3600";

export class RlWalls extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["partitions"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list" });
    /** @type {import("../src/types.js").Venue | null} */
    this.drawn = null;
    /** @type {Map<string, {position: HTMLElement, asked: HTMLElement, unpin: HTMLElement, free: HTMLOptionElement, pin: HTMLSelectElement, keys: HTMLElement[], division: HTMLElement, combine: HTMLElement, apart: HTMLElement, marking: HTMLElement, mark: HTMLElement, unmark: HTMLElement}>} */
    this.cards = new Map();
    this.root.append(this.list);
  }

  /** @override */
  update() {
    const { session, list, cards } = this;
    if (!session?.venue || !list || !cards) return;
    const { venue, store } = session;
    if (this.drawn !== venue) {
      this.drawn = venue;
      cards.clear();
      list.replaceChildren(...Object.keys(venue.partitions).map((id) => this.#card(id)));
    }
    setAll(this, { "data-stale": !session.live });
    for (const [id, { position, asked, keys, unpin, free, pin, division, combine, apart, marking, mark, unmark }] of cards) {
      const wall = store.view.partitions[id];
      const simulated = !!venue.partitions[id]?.simulated;
      // What no contact was ever heard from will not report.
      const speaks = simulated || !!wall?.sensed || wall?.trust === "sensed";
      const usable = session.live && store.past === null;
      setAll(free, { hidden: !speaks, disabled: !speaks });
      if (!speaks && pin.value === "") pin.value = HOUR;
      setText(unpin, speaks ? "Trust the sensor again" : "Take back what was stated");
      setAll(unpin, { hidden: wall?.trust !== "pinned", "aria-disabled": String(!usable), "aria-label": `${wallName(venue, id)}: ${unpin.textContent}` });
      setText(position, wallWords(wall, venue.venue.timezone));
      setAll(position, { "data-odd": !wall || wall.position === "unknown" || wall.flagged });
      const kept = wall?.division?.why;
      setText(division, [markWords(wall, venue.venue.timezone, venue), divisionWords(wall, venue.venue.timezone, venue), mismatchWords(wall), doorWords(wall)].filter(Boolean).join(" "));
      setAll(division, { "data-odd": kept === "fence" || !!wall?.mismatched || !!wall?.do_not_move });
      setText(combine, kept === "fence" ? "Combine all the same" : "Combine");
      setAll(combine, { hidden: !kept, "aria-disabled": String(!usable), "aria-label": `${wallName(venue, id)}: ${combine.textContent}` });
      // What is open may be kept as a division, whether it combines or waits to be told.
      setAll(apart, { hidden: kept ? kept === "apart" : !wall?.joins, "aria-disabled": String(!usable) });
      setAll(marking, { hidden: !!wall?.do_not_move });
      setAll(mark, { "aria-disabled": String(!usable) });
      setAll(unmark, { hidden: !wall?.do_not_move, "aria-disabled": String(!usable), "aria-label": `${wallName(venue, id)}: May be moved again` });
      setText(asked, requestWords(wall, venue.venue.timezone));
      setAll(asked, { "data-due": !!wall?.requested && !wall.requested.met });
      for (const key of keys) {
        const here = wall?.position === key.dataset.position;
        // What is past cannot be moved.
        setAll(key, { "aria-disabled": String(!usable), "aria-pressed": String(here), "data-on": here });
      }
    }
  }

  /** @param {string} id */
  #card(id) {
    const venue = /** @type {import("../src/types.js").Venue} */ (this.session?.venue);
    const simulated = !!venue.partitions[id]?.simulated;
    const name = wallName(venue, id);
    const free = make("option", { value: "" }, simulated ? RUN : SENSOR);
    const pin = make("select", {}, free, ...PINS.map(([value, text]) => make("option", { value }, text)));
    const position = make("p", { class: "position", part: "position" });
    const asked = make("p", { class: "asked", part: "asked" });
    const division = make("p", { class: "division", part: "division" });
    const note = make("p", { class: "note", part: "note", role: "status" });
    const say = (/** @type {boolean} */ yes, /** @type {string} */ part, /** @type {string} */ text) => {
      const key = make("button", { class: "cell", part, type: "button", hidden: true, "aria-label": `${name}: ${text}` }, text);
      key.addEventListener("click", () => {
        if (key.getAttribute("aria-disabled") !== "true") void this.#put(`partitions/${id}/combining`, { combine: yes }, note);
      });
      return key;
    };
    const combine = say(true, "combine", "Combine");
    const apart = say(false, "apart", "Keep apart");
    const keys = ["open", "closed"].map((where) => {
      const key = make("button", { class: "cell", part: "key", type: "button", "data-position": where });
      key.addEventListener("click", () => {
        if (key.getAttribute("aria-disabled") === "true") return;
        const runs = simulated && pin.value === "";
        const body = pin.value === "" ? { position: where } : { position: where, pin: Number(pin.value) };
        void this.#put(runs ? `simulated/${id}` : `partitions/${id}`, body, note);
      });
      return key;
    });
    // A simulated wall runs, or is stated like a real one.
    const rename = () => {
      for (const key of keys) {
        const where = key.dataset.position ?? "";
        const words = simulated && pin.value === "" ? (where === "open" ? "Open" : "Close") : `It is ${where}`;
        setText(key, words);
        setAll(key, { "aria-label": `${name}: ${words}` });
      }
    };
    pin.addEventListener("change", rename);
    rename();
    const unpin = make("button", { class: "cell", part: "unpin", type: "button", hidden: true });
    unpin.addEventListener("click", () => {
      if (unpin.getAttribute("aria-disabled") !== "true") void this.#put(`partitions/${id}`, { pin: 0 }, note);
    });
    const why = make("input", { maxlength: "200", autocomplete: "off", "aria-label": `Why ${name} is not to be moved` });
    const mark = make("button", { class: "cell", part: "mark", type: "button", "aria-label": `${name}: Do not move` }, "Do not move");
    mark.addEventListener("click", () => {
      if (mark.getAttribute("aria-disabled") !== "true") void this.#put(`partitions/${id}/do-not-move`, { why: why.value.trim() }, note);
    });
    const unmark = make("button", { class: "cell", part: "unmark", type: "button", hidden: true }, "May be moved again");
    unmark.addEventListener("click", () => {
      if (unmark.getAttribute("aria-disabled") !== "true") void this.#put(`partitions/${id}/do-not-move`, {}, note, "DELETE");
    });
    const marking = make("details", { part: "marking" }, make("summary", {}, "Mark it \u201cdo not move\u201d"), why, make("div", { class: "keys" }, mark));
    const stating = make("label", {}, make("span", {}, "Stated by hand,"), pin);
    const row = make("div", { class: "keys" }, ...keys, combine, apart, unpin, stating);
    this.cards?.set(id, { position, asked, keys, unpin, free, pin, division, combine, apart, marking, mark, unmark });
    return make("div", { class: "pane", part: "pane", role: "group", "aria-label": name }, make("div", { class: "title" }, name), position, division, asked, row, marking, unmark, note);
  }

  /**
   * @param {string} path
   * @param {Record<string, unknown>} body
   * @param {HTMLElement} note
   * @param {"PUT" | "DELETE"} [method]
   */
  async #put(path, body, note, method = "PUT") {
    const scope = /** @type {import("./connection.js").RlConnection | null} */ (this.closest("rl-connection"));
    setText(note, "");
    try {
      const answer = await fetch(new URL(path, scope?.api ?? location.href), {
        method,
        headers: { "content-type": "application/json" },
        body: method === "PUT" ? JSON.stringify(body) : undefined,
      });
      if (answer.ok) return;
      const problem = await answer.json().catch(() => ({ type: "about:blank", title: `The service answered ${answer.status}.` }));
      setText(note, refusalWords({ problem }));
    } catch {
      setText(note, "The service cannot be reached; nothing was changed.");
    }
  }
}
