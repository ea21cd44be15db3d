/** `<rl-scenes>`: the scenes that fit the linked zones. `over` is the seconds that levels take. */
import { listed, refusalWords, words, zoneName } from "../src/format.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.list { display: flex; flex-wrap: wrap; gap: 8px; }
.list .cell { flex: 1 1 9rem; font-size: 1.125rem; }
.note:empty { display: none; }
`);

const NOTE_MS = 6000;

export class RlScenes extends RlElement {
  static observedAttributes = ["over", "label"];
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["face", "overrides"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list" });
    this.note = make("p", { class: "note", part: "note", role: "status" });
    /** @type {number | undefined} */
    this.timer = undefined;
    this.root.append(make("div", { part: "pane", role: "group", "aria-label": this.getAttribute("label") ?? "Scenes" }, this.list, this.note));
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    window.clearTimeout(this.timer);
  }

  /** @override */
  update() {
    const { session, list } = this;
    if (!session?.venue || !list) return;
    const { venue, store } = session;
    const linked = store.face.links.map((link) => link.zone);
    const types = new Set(linked.map((zone) => venue.zones[zone]?.type));
    const fitting = Object.entries(venue.scenes).filter(
      ([, scene]) => types.has(scene.type ?? "") || linked.includes(scene.zone ?? "") || scene.zones.some((zone) => linked.includes(zone)),
    );
    const still = !session.live || !!store.face.locked || linked.length === 0 || session.overridden !== null;
    setAll(this, { "data-stale": !session.live, "data-empty": fitting.length === 0 });
    const key = fitting.map(([id, scene]) => `${id}=${scene.name}`).join("\n");
    if (list.dataset.key !== key) {
      list.dataset.key = key;
      list.replaceChildren(...fitting.map(([id, scene]) => this.#key(id, scene.name || words(id))));
    }
    for (const cell of list.children) setAll(cell, { "aria-disabled": String(still) });
  }

  /**
   * @param {string} scene
   * @param {string} name
   */
  #key(scene, name) {
    const key = make("button", { class: "cell", part: "scene", type: "button", "data-scene": scene }, name);
    key.addEventListener("click", async () => {
      const { session } = this;
      if (!session || key.getAttribute("aria-disabled") === "true") return;
      const over = this.getAttribute("over");
      setAll(key, { "data-asked": true });
      try {
        const ok = await session.socket.request({ type: "recall", scene, ...(over === null ? {} : { over: Number(over) }) });
        this.#say(`${name} recalled in ${listed(ok.zones.map((zone) => zoneName(session.venue, zone)))}.`, true);
      } catch (error) {
        this.#say(refusalWords(error), false);
      } finally {
        setAll(key, { "data-asked": false });
      }
    });
    return key;
  }

  /**
   * @param {string} text
   * @param {boolean} good
   */
  #say(text, good) {
    if (!this.note) return;
    setAll(this.note, { "data-good": good });
    window.clearTimeout(this.timer);
    setText(this.note, text);
    this.timer = window.setTimeout(() => this.note && setText(this.note, ""), NOTE_MS);
  }
}
