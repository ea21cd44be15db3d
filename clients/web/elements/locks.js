/**
 * `<rl-locks>`: what a person has locked, in words, each with a way to release it by its PIN; nothing while nothing is
 * locked. In a watching connection all locks, and keys for those that are ready by name. On a panel those that concern it, and, where another panel leads its rooms,
 * a key to take the lead. `only="locks"` or `only="lead"` leaves the other out.
 */
import { controllerName, refusalWords } from "../src/format.js";
import { concerns, lockName, lockWords } from "../src/locks.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.list, :host { display: grid; gap: 8px; }
.list:empty { display: none; }
.lock { display: flex; flex-wrap: wrap; gap: 8px 16px; align-items: center; padding: 10px 16px; background: var(--pane); border-left: 4px solid var(--abnormal); }
.lock p { flex: 1 1 14rem; }
.ready { display: flex; flex-wrap: wrap; gap: 8px; }
.ready:empty { display: none; }
form { display: flex; flex-wrap: wrap; gap: 8px; align-items: center; }
input { font: inherit; color: var(--ink); background: var(--rl-ground, #14110e); border: 1px solid var(--line); min-height: 48px; width: 8.5rem; padding: 0 10px; }
.cell { font-size: 1.125rem; min-height: 48px; }
.cell[part="lead"] { justify-self: start; padding: 4px 20px; }
.note:empty { display: none; }
[hidden] { display: none; }
`);

export class RlLocks extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["locks", "face", "groups", "seq"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list", role: "status" });
    this.take = make("button", { class: "cell", part: "lead", type: "button", hidden: true }, "Take the lead");
    this.note = make("p", { class: "note", part: "note", role: "status" });
    /** @type {Map<string, {row: HTMLElement, text: HTMLElement, form: HTMLElement, pin: HTMLElement}>} */
    this.rows = new Map();
    this.take.addEventListener("click", () => void this.#takeLead());
    this.ready = make("div", { class: "ready", part: "ready" });
    const only = this.getAttribute("only");
    if (only === "lead") {
      this.note.setAttribute("part", "lead-note");
      this.root.append(this.take, this.note);
    } else this.root.append(this.list, ...(only === "locks" ? [] : [this.take]), this.ready, this.note);
  }

  /** @override */
  update() {
    const { session, list, take, rows } = this;
    if (!session || !list || !take || !rows) return;
    const { controller, store, venue } = session;
    const { locks } = store.view;
    const shown = Object.entries(locks).filter(([, lock]) => controller === null || concerns(lock, controller, store.face));
    for (const [id, { row }] of rows) {
      // What stands stays in its place: a PIN may be half typed there.
      if (shown.some(([one]) => one === id)) continue;
      row.remove();
      rows.delete(id);
    }
    for (const [id, lock] of shown) {
      const one = rows.get(id) ?? this.#row(id);
      setText(one.text, lockWords(locks, id, venue));
      // Where everything is watched somebody has a role; the service says whether it suffices.
      const byRole = controller === null;
      setAll(one.pin, { hidden: !lock.pin, placeholder: byRole ? "PIN, or by role" : "PIN" });
      setAll(one.form, { hidden: !(lock.pin || byRole) || !session.live || store.past !== null });
      setAll(one.row, { "data-lock": id });
    }
    setAll(this, { "data-standing": shown.length > 0 });
    this.#offer(controller === null && session.live ? Object.entries(venue?.locks ?? {}).filter(([id]) => !(id in locks)) : []);
    const order = venue?.combining?.lead_order ?? [];
    const home = session.home ?? "";
    const plural = (store.view.zones[home]?.group.length ?? 0) > 1;
    const may = controller !== null && session.live && plural && order.includes(controller) && !store.face.lead && store.face.locked?.lock === undefined;
    setAll(take, { hidden: !may });
    const leader = store.view.leads[store.view.zones[home]?.group[0] ?? ""];
    setText(take, leader ? `Take the lead from ${controllerName(venue, leader)}` : "Take the lead");
  }

  /**
   * Keys for what is ready by name and not set, where everything is watched.
   * @param {[string, {name: string}][]} ready
   */
  #offer(ready) {
    const { session, ready: place } = this;
    const key = JSON.stringify(ready);
    if (!session || !place || place.dataset.key === key) return;
    place.dataset.key = key;
    const keys = ready.map(([id, { name }]) => {
      const button = make("button", { class: "cell", part: "set", type: "button", "data-lock": id }, `Lock: ${name}`);
      button.addEventListener("click", () => void this.#say(session.put(`locks/${encodeURIComponent(id)}`, {})));
      return button;
    });
    place.replaceChildren(...keys);
  }

  /** @param {string} id */
  #row(id) {
    const text = make("p", { part: "lock" });
    const pin = make("input", { type: "password", inputmode: "numeric", autocomplete: "off", maxlength: "12", "aria-label": `PIN of ${lockName(this.session?.store.view.locks ?? {}, id)}`, placeholder: "PIN" });
    const release = make("button", { class: "cell", part: "release", type: "submit" }, "Release");
    const form = make("form", {}, pin, release);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const given = pin.value;
      pin.value = "";
      // On a panel it takes the PIN; where everything is watched a role may do.
      if (!given && this.session?.controller !== null) return;
      void this.#say(this.session?.post(`locks/${encodeURIComponent(id)}/release`, given ? { pin: given } : {}));
    });
    const row = make("div", { class: "lock" }, text, form);
    this.list?.append(row);
    const made = { row, text, form, pin };
    this.rows?.set(id, made);
    return made;
  }

  async #takeLead() {
    await this.#say(this.session?.socket.request({ type: "lead" }));
  }

  /** @param {Promise<unknown> | undefined} answer */
  async #say(answer) {
    if (!this.note) return;
    setText(this.note, "");
    try {
      await answer;
    } catch (error) {
      setText(this.note, refusalWords(error));
    }
  }
}
