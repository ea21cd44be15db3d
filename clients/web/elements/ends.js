/**
 * `<rl-ends>`: that a booking ends soon, with more time where the rooms are free, and that a routine is about to end
 * something, with a way to keep it on. On a panel that of its rooms, in a watching connection that of all.
 */
import { endsOfAll, noticesOf, overHttp } from "../src/ends.js";
import { refusalWords } from "../src/format.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
:host([data-empty]) { display: none; }
.list { display: grid; gap: 8px; }
.notice { display: flex; flex-wrap: wrap; gap: 8px 20px; align-items: center; padding: 8px 16px; background: var(--pane); border-left: 4px solid var(--line); }
.notice p { flex: 1 1 16rem; }
.notice[data-soon] { border-left-color: var(--abnormal); }
.notice[data-soon] p::before { content: "\\25B3\\00a0\\00a0"; color: var(--mark); font-weight: 700; }
.keys { flex: 1 1 18rem; display: flex; flex-wrap: wrap; gap: 8px; }
.keys:empty, .note:empty { display: none; }
.keys .cell { flex: 1 1 8rem; font-size: 1.125rem; min-height: 48px; }
`);

export class RlEnds extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["face"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list", role: "status" });
    this.note = make("p", { class: "note", part: "note", role: "status" });
    this.root.append(this.list, this.note);
  }

  /** @override */
  update() {
    const { session, list } = this;
    if (!session?.venue || !list) return;
    const { store, controller } = session;
    const watching = controller === null;
    // Of the past nothing can be made longer.
    const told = !watching ? store.face : store.past === null ? endsOfAll(store.view.controllers) : {};
    const found = noticesOf(session.venue, told, watching);
    setAll(this, { "data-empty": found.length === 0, "data-stale": !session.live });
    const key = JSON.stringify(found);
    if (list.dataset.key !== key) {
      list.dataset.key = key;
      list.replaceChildren(...found.map((one) => this.#card(one)));
    }
    for (const cell of list.querySelectorAll("button")) setAll(cell, { "aria-disabled": String(!session.live) });
  }

  /** @param {import("../src/ends.js").Notice} one */
  #card({ id, text, soon, offers }) {
    const keys = offers.map(({ text: name, more }) => this.#key(name, more));
    return make("div", { class: "notice", part: "notice", "data-soon": soon, "data-end": id }, make("p", {}, text), make("div", { class: "keys" }, ...keys));
  }

  /**
   * @param {string} name
   * @param {Record<string, unknown>} more
   */
  #key(name, more) {
    const key = make("button", { class: "cell", part: "key", type: "button" }, name);
    key.addEventListener("click", async () => {
      const { session, note } = this;
      if (!session || !note || key.getAttribute("aria-disabled") === "true") return;
      setText(note, "");
      setAll(key, { "data-asked": true });
      try {
        await (session.controller === null ? session.post(...overHttp(more)) : session.socket.request(/** @type {any} */ (more)));
      } catch (error) {
        setText(note, refusalWords(error));
      } finally {
        setAll(key, { "data-asked": false });
      }
    });
    return key;
  }
}
