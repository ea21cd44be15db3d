/**
 * `<rl-choice control="program">`: a choice as a radio group. Arrows move, Space or Enter chooses: a choice that followed
 * the arrows would switch real sources on its way. When linked zones disagree, nothing is chosen.
 */
import { optionName, sourceName, zoneName } from "../src/format.js";
import { ControlElement } from "./control-element.js";
import { make, setAll, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.options { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, max(5.6rem, calc(var(--longest) * 0.74rem + 14px))), 1fr)); gap: 8px; margin-top: 6px; }
.options .cell { padding: 8px 6px; overflow-wrap: break-word; }
/* Sources of several rooms: a heading a room, as many in a row as their longest word allows. */
.options[data-rooms] { grid-template-columns: repeat(auto-fill, minmax(max(var(--target), calc(var(--longest) * 0.54rem + 8px), calc((100% + 6px) / var(--most) - 6px)), 1fr)); gap: 6px; margin-top: 2px; }
.options[data-rooms] .cell { padding: 4px 2px; font-size: 1rem; min-height: max(50px, var(--target) - 6px); }
.options[data-rooms] .cell[data-on]::before { left: 5px; top: 0; font-size: 0.875rem; }
.from { grid-column: 1 / -1; color: var(--faint); font-size: 1rem; }
.from:not(:first-child) { margin-top: 2px; }
.from:has(+ [data-option=""]) { grid-column: 1 / -2; align-self: end; }
.from + [data-option=""] { grid-column: -2 / -1; }
/* Above the word, not before it: a word that is chosen needs no more room than one that is not. */
.cell[data-on]::before { content: "\\2713"; position: absolute; left: 6px; top: 1px; font-size: 1rem; }
.cell[data-asked]::after { content: "asked"; position: absolute; right: 6px; bottom: 1px; font-size: 0.8rem; font-weight: 400; }
`);

/** The option's value in the DOM; null has no text of its own, and option names cannot be empty. */
const NONE = "";

export class RlChoice extends ControlElement {
  /** @override */
  static sheets = [sheet];

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    this.group = make("div", { class: "options", part: "options", role: "radiogroup", "aria-labelledby": "name" });
    this.group.addEventListener("keydown", (event) => this.#moveFocus(event));
    body.append(this.group);
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { spec, feedback, group } = this;
    if (!group) return;
    const options = [...((feedback?.options?.length ? feedback.options : spec?.options) ?? []), ...(spec?.allow_none ? [NONE] : [])];
    this.#keepCells(options);
    const decided = !!feedback && feedback.decided !== false;
    // In the gap between two options the service says what is coming.
    const coming = this.asked ? this.asked.value : feedback?.pending ?? undefined;
    const cells = this.#cells();
    const focusable = cells.find((cell) => cell.tabIndex === 0) ?? cells[0];
    for (const cell of cells) {
      const option = cell.dataset.option || null;
      // While the gap lasts the zones vote with what is coming; it is not on yet.
      const on = decided && feedback.value === option && (feedback.pending ?? undefined) === undefined && (option !== null || coming === undefined);
      setAll(cell, {
        "aria-checked": String(on),
        "aria-disabled": String(disabled),
        "data-on": on,
        "data-asked": coming !== undefined && coming === option && !on,
        tabindex: cell === focusable ? "0" : "-1",
      });
    }
  }

  /** @returns {HTMLElement[]} */
  #cells() {
    return [...(this.group?.querySelectorAll(".cell") ?? [])].map((cell) => /** @type {HTMLElement} */ (cell));
  }

  /** @param {string[]} options */
  #keepCells(options) {
    const { group } = this;
    if (!group) return;
    const venue = this.session?.venue ?? null;
    const key = JSON.stringify([options, options.map((option) => optionName(venue, option || null))]);
    if (group.dataset.key === key) return;
    group.dataset.key = key;
    const roomOf = (/** @type {string} */ option) => option.slice(0, Math.max(0, option.indexOf("/")));
    const own = options.filter((option) => option !== NONE && roomOf(option) === "");
    const rooms = [...new Set(options.map(roomOf))].filter((zone) => zone !== "");
    const none = options.includes(NONE) ? [this.#cell(NONE)] : [];
    setAll(group, { "data-rooms": rooms.length > 0 });
    const parts = options.filter((option) => option !== NONE).flatMap((option) => sourceName(venue, option).split(" "));
    group.style.setProperty("--longest", String(Math.max(0, ...parts.map((part) => part.length))));
    if (rooms.length === 0) {
      group.replaceChildren(...own.map((option) => this.#cell(option)), ...none);
      return;
    }
    // Sources of several rooms stand each under its room's name; what switches off all of them beside the first name.
    group.style.setProperty("--most", String(Math.max(own.length, ...rooms.map((zone) => options.filter((option) => roomOf(option) === zone).length))));
    const home = this.session?.home ?? null;
    group.replaceChildren(
      make("span", { class: "from", "aria-hidden": "true" }, home === null ? "Here" : zoneName(venue, home)),
      ...none,
      ...own.map((option) => this.#cell(option)),
      ...rooms.flatMap((zone) => [
        make("span", { class: "from", "aria-hidden": "true" }, zone === "venue" ? "Everywhere" : zoneName(venue, zone)),
        ...options.filter((option) => roomOf(option) === zone).map((option) => this.#cell(option)),
      ]),
    );
  }

  /** @param {string} option */
  #cell(option) {
    const slash = option.indexOf("/");
    const name = optionName(this.session?.venue ?? null, option || null);
    const cell = make(
      "button",
      { class: "cell", part: "option", type: "button", role: "radio", "aria-label": name, "data-option": option, "data-from": slash > 0 },
      slash > 0 ? sourceName(this.session?.venue ?? null, option) : name,
    );
    cell.addEventListener("click", () => {
      if (cell.getAttribute("aria-disabled") === "true") return;
      for (const other of this.#cells()) other.tabIndex = other === cell ? 0 : -1;
      void this.order({ do: "set", value: option || null }, option || null);
    });
    return cell;
  }

  /** @param {KeyboardEvent} event */
  #moveFocus(event) {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (step === undefined || !this.group) return;
    event.preventDefault();
    const cells = this.#cells();
    const at = cells.findIndex((cell) => cell.tabIndex === 0);
    cells.forEach((cell, i) => (cell.tabIndex = i === (at + step + cells.length) % cells.length ? 0 : -1));
    cells.find((cell) => cell.tabIndex === 0)?.focus();
  }
}
