/**
 * `<rl-divisions>` on a panel: what people are asked about walls that are open at its rooms and do not combine by
 * themselves. No answer changes nothing; nothing here moves a wall.
 */
import { questions } from "../src/divisions.js";
import { refusalWords } from "../src/format.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
:host([data-empty]) { display: none; }
.list { display: grid; gap: 8px; }
.question { display: flex; flex-wrap: wrap; gap: 8px 20px; align-items: center; padding: 8px 16px; background: var(--pane); border-left: 4px solid var(--line); }
.question[data-why="ask"] { border-left-color: var(--mark); }
.question[data-why="fence"] { border-left-color: var(--abnormal); }
.question p { flex: 1 1 16rem; }
.keys { flex: 1 1 16rem; display: flex; flex-wrap: wrap; gap: 8px; }
.keys:empty { display: none; }
.keys .cell { flex: 1 1 7rem; font-size: 1.125rem; min-height: 48px; }
.note:empty { display: none; }
`);

export class RlDivisions extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["partitions", "groups", "face"];
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
    const home = session?.home;
    if (!session?.venue || !list || !home) return;
    const { venue, store } = session;
    const group = store.view.groups.find((zones) => zones.includes(home)) ?? [home];
    // Who leads is told of oneself alone; whoever could lead is in the venue's order.
    const order = venue.combining?.lead_order ?? [];
    const leads = order.some((id) => group.includes(venue.controllers[id]?.home ?? ""));
    const here = { home, lead: store.face.lead, locked: !!store.face.locked, leads };
    const found = questions(venue, store.view.partitions, store.view.groups, here);
    setAll(this, { "data-empty": found.length === 0, "data-stale": !session.live });
    const key = JSON.stringify(found);
    if (list.dataset.key !== key) {
      list.dataset.key = key;
      list.replaceChildren(...found.map((one) => this.#card(one)));
    }
    for (const cell of list.querySelectorAll("button")) setAll(cell, { "aria-disabled": String(!session.live) });
  }

  /** @param {import("../src/divisions.js").Question} one */
  #card({ id, why, text, combine, apart }) {
    const keys = [
      ...(combine ? [this.#key(id, true, why === "apart" ? "Combine after all" : "Combine")] : []),
      ...(apart ? [this.#key(id, false, "Keep apart")] : []),
    ];
    return make("div", { class: "question", part: "question", "data-why": why, "data-wall": id }, make("p", {}, text), make("div", { class: "keys" }, ...keys));
  }

  /**
   * @param {string} partition
   * @param {boolean} combine
   * @param {string} name
   */
  #key(partition, combine, name) {
    const key = make("button", { class: "cell", part: "key", type: "button" }, name);
    key.addEventListener("click", async () => {
      const { session, note } = this;
      if (!session || !note || key.getAttribute("aria-disabled") === "true") return;
      setText(note, "");
      setAll(key, { "data-asked": true });
      try {
        await session.socket.request({ type: "combine", partition, combine });
      } catch (error) {
        setText(note, refusalWords(error));
      } finally {
        setAll(key, { "data-asked": false });
      }
    });
    return key;
  }
}
