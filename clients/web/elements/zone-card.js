/** `<rl-zone zone="heron">` in a watching connection: all that one zone is and who works on it. */
import { useWords } from "../src/bookings.js";
import { controlName, controllerName, duckedWords, listed, optionName, valueWords, zoneName } from "../src/format.js";
import { isUnderWay, shownLevel } from "../src/trajectory.js";
import { flowWords, heardNotices, isElsewhere } from "../src/travel.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
h3 { margin: 0; font-size: 1.5rem; font-weight: 400; }
dl { display: grid; grid-template-columns: auto 1fr; gap: 4px 18px; margin: 12px 0 0; }
dt { color: var(--faint); }
dd { margin: 0; text-align: right; }
dd small { font-size: 1rem; color: var(--faint); }
.booked:empty { display: none; }
.standing { color: var(--faint); font-size: 1rem; }
`);

export class RlZone extends RlElement {
  static observedAttributes = ["zone"];
  /** @override */
  static sheets = [sheet];

  get zone() {
    return this.getAttribute("zone") ?? "";
  }

  /** @override */
  topics() {
    return [`zone:${this.zone}`, "groups", "one_way", "microphones"];
  }

  /** @override */
  build() {
    this.nameText = make("h3", { part: "name" });
    this.standing = make("p", { class: "standing", part: "standing" });
    this.booked = make("p", { class: "booked", part: "booked" });
    this.list = make("dl", { part: "values" });
    this.animating = false;
    this.root.append(make("div", { class: "pane", part: "pane" }, this.nameText, this.booked, this.standing, this.list));
  }

  /** @override */
  update() {
    const { session, nameText, standing, list } = this;
    if (!session?.venue || !nameText || !standing || !list) return;
    const { venue, store } = session;
    const zone = store.view.zones[this.zone];
    setAll(this, { "data-stale": !session.live });
    setText(nameText, zoneName(venue, this.zone));
    const others = (zone?.group ?? []).filter((id) => id !== this.zone).map((id) => zoneName(venue, id));
    const users = (zone?.linked_by ?? []).map((id) => controllerName(venue, id));
    const parts = [others.length ? `One room with ${listed(others)}` : "On its own", users.length ? `worked from ${listed(users)}` : zone?.in_use ? "in use" : "not in use"];
    const flows = Object.values(store.view.one_way).filter((flow) => flow.to === this.zone || flow.from === this.zone);
    const heard = heardNotices(venue, store.view.microphones, [this.zone]);
    if (zone?.present) parts.push("somebody is there");
    setText(standing, [`${parts.join("; ")}.`, ...flows.map((flow) => flowWords(venue, flow)), ...heard].join(" "));
    if (this.booked) setText(this.booked, zone?.in_use ? useWords(zone.in_use, venue.venue.timezone) : "");
    const specs = Object.entries(venue.zones[this.zone]?.controls ?? {}).filter(([name]) => !isElsewhere(store.view.microphones, this.zone, name));
    if (list.children.length !== specs.length * 2) list.replaceChildren(...specs.flatMap(() => [make("dt"), make("dd")]));
    const now = session.serviceNow();
    let moving = false;
    specs.forEach(([name, spec], i) => {
      const control = zone?.controls?.[name];
      const under = isUnderWay(control?.moving, now);
      moving ||= under;
      const value = spec.kind === "level" ? shownLevel(control, now) : control?.value ?? null;
      const pending = control?.pending ?? null;
      const coming = pending === null ? "" : `, ${spec.kind === "choice" ? optionName(venue, String(pending)) : pending ? "on" : "off"} asked`;
      const target = under && control?.moving ? `, to ${valueWords(venue, spec, control.moving.to)}` : "";
      setText(/** @type {Node} */ (list.children[2 * i]), controlName(name, spec));
      setText(/** @type {Node} */ (list.children[2 * i + 1]), control ? [valueWords(venue, spec, value) + target + coming, duckedWords(spec, control)].filter(Boolean).join("; ") : "\u2014");
    });
    if (moving && !this.animating && this.isConnected) {
      this.animating = true;
      requestAnimationFrame(() => {
        this.animating = false;
        this.update();
      });
    }
  }
}
