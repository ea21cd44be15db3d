/**
 * `<rl-overrides>`: the overrides that stand, in words. In a watching connection all of them; on a panel those over its
 * rooms, and of the others only that they stand.
 */
import { overrideName, overrideWords, standsOver } from "../src/overrides.js";
import { RlElement } from "./base.js";
import { make, setAll, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.list { display: grid; gap: 8px; }
p { padding: 12px 16px; background: var(--abnormal); color: var(--on-abnormal); font-weight: 600; }
p::before { content: "\\25B2\\00a0\\00a0"; }
p[data-elsewhere] { background: var(--pane); color: var(--ink); font-weight: 400; border-left: 4px solid var(--abnormal); }
`);

export class RlOverrides extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["overrides", "face", "seq"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list", role: "alert" });
    this.root.append(this.list);
  }

  /** @override */
  update() {
    const { session, list } = this;
    if (!session || !list) return;
    const { overrides } = session.store.view;
    session.saidOnce.add("overrides");
    const texts = Object.entries(overrides).map(([id, override]) => {
      const name = overrideName(overrides, id);
      const elsewhere = session.controller !== null && !standsOver(id, override, session.store.face);
      return { elsewhere, text: elsewhere ? `${name} stands elsewhere in the building.` : overrideWords(name, override, session.venue) };
    });
    const key = JSON.stringify(texts);
    setAll(this, { "data-standing": texts.length > 0 });
    // An alert that is written anew is read out anew.
    if (list.dataset.key === key) return;
    list.dataset.key = key;
    list.replaceChildren(...texts.map(({ text, elsewhere }) => make("p", { part: "override", "data-elsewhere": elsewhere }, text)));
  }
}
