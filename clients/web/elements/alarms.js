/**
 * `<rl-alarms>`: on a panel what concerns its rooms, in guests' words; in a watching connection how many alarms stand,
 * with the way to them. Nothing here blinks.
 */
import { countWords, guestWords } from "../src/alarms.js";
import { RlElement } from "./base.js";
import { make, setAll, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.list { display: grid; gap: 8px; }
p { display: flex; align-items: baseline; padding: 10px 16px; background: var(--pane); color: var(--ink); border-left: 4px solid var(--abnormal); }
p::before { content: "\\25B3\\00a0\\00a0"; color: var(--mark); font-weight: 700; }
p[data-urgent] { border-left-color: var(--rl-danger-mark, #ff8a80); }
p[data-urgent]::before { content: "\\25B2\\00a0\\00a0"; color: var(--rl-danger-mark, #ff8a80); }
a { color: inherit; display: inline-block; padding: 10px 0; }
`);

export class RlAlarms extends RlElement {
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    return ["alarms", "face", "seq"];
  }

  /** @override */
  build() {
    this.list = make("div", { class: "list", part: "list", role: "status" });
    this.root.append(this.list);
  }

  /** @override */
  update() {
    const { session, list } = this;
    if (!session || !list) return;
    const watching = session.controller === null;
    const alarms = Object.values(session.store.view.alarms);
    const own = session.store.face.alarms ?? [];
    const texts = watching ? [countWords(alarms)].filter(Boolean) : guestWords(session.venue, own);
    const urgent = watching && alarms.some(({ priority, state }) => priority === "high" && state === "unacknowledged");
    const key = JSON.stringify([texts, urgent]);
    setAll(this, { "data-standing": texts.length > 0 });
    // What is written anew is read out anew.
    if (list.dataset.key === key) return;
    list.dataset.key = key;
    list.replaceChildren(
      ...texts.map((text) => make("p", { part: "alarm", "data-urgent": urgent }, watching ? make("a", { href: "/technician#alarms" }, text) : text)),
    );
  }
}
