/**
 * `<rl-arrangements>` in a watching connection: named arrangements of walls. One touch states the positions of all their
 * walls; it moves none.
 */
import { arrangementWords } from "../src/divisions.js";
import { refusalWords } from "../src/format.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
:host([data-empty]) { display: none; }
.list { display: grid; gap: 10px 16px; grid-template-columns: repeat(auto-fill, minmax(min(100%, 13rem), 1fr)); margin: 10px 0 24px; }
.list .cell { width: 100%; font-size: 1.125rem; }
.how { color: var(--faint); }
.standing { margin-top: 4px; min-height: 1.4em; }
.note:empty { display: none; }
`);

export class RlArrangements extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["partitions"];
  }

  /** @override */
  build() {
    const how = "States where the walls are, as a person does for one wall. It moves none: people do.";
    this.list = make("div", { class: "list", part: "list" });
    this.note = make("p", { class: "note", part: "note", role: "status" });
    /** @type {Map<string, {key: HTMLElement, words: HTMLElement}>} */
    this.cards = new Map();
    this.root.append(make("p", { class: "how", part: "how" }, how), this.list, this.note);
  }

  /** @override */
  update() {
    const { session, list, cards } = this;
    if (!session?.venue || !list || !cards) return;
    const { venue, store } = session;
    const named = venue.arrangements ?? {};
    setAll(this, { "data-empty": Object.keys(named).length === 0, "data-stale": !session.live });
    const drawn = JSON.stringify(named);
    if (list.dataset.key !== drawn) {
      list.dataset.key = drawn;
      cards.clear();
      list.replaceChildren(...Object.entries(named).map(([id, one]) => this.#card(id, one.name)));
    }
    const usable = session.live && store.past === null;
    for (const [id, { key, words }] of cards) {
      const one = named[id];
      if (!one) continue;
      const stands = Object.entries(one.walls).every(([wall, position]) => store.view.partitions[wall]?.position === position);
      setAll(key, { "aria-disabled": String(!usable), "aria-pressed": String(stands), "data-on": stands });
      setText(words, arrangementWords(venue, store.view.partitions, one));
    }
  }

  /**
   * @param {string} id
   * @param {string} name
   */
  #card(id, name) {
    const key = make("button", { class: "cell", part: "key", type: "button", "data-arrangement": id }, name);
    const words = make("p", { class: "standing", part: "words" });
    key.addEventListener("click", async () => {
      const { session, note } = this;
      if (!session || !note || key.getAttribute("aria-disabled") === "true") return;
      setText(note, "");
      setAll(key, { "data-asked": true });
      try {
        await session.put(`arrangements/${id}/pin`, {});
      } catch (error) {
        setText(note, refusalWords(error));
      } finally {
        setAll(key, { "data-asked": false });
      }
    });
    this.cards?.set(id, { key, words });
    return make("div", {}, key, words);
  }
}
