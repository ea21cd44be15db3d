/**
 * `<rl-links>`: the floor plan as the way to link. A touch on a zone links it, another unlinks it; the plan shows what is
 * joined, who else works on a zone, and what this controller cannot reach.
 */
import { requestShort, useWords } from "../src/bookings.js";
import { controllerName, listed, listedShort, lockedWords, refusalWords, zoneName } from "../src/format.js";
import { flowLines } from "../src/travel.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";
import { PlanView, planSheet } from "./plan-view.js";

const sheet = sheetOf(`
.foot { display: flex; flex-wrap: wrap; gap: 8px 12px; align-items: center; margin-top: 14px; }
.foot .cell { font-size: 1.125rem; }
.foot .hint { flex: 1 1 9rem; font-size: 1rem; color: var(--faint); }
/* In a low place what goes with a deep plan stands beside it, and the plan has all the height. */
@container (min-aspect-ratio: 17 / 20) {
  .deep { display: flex; flex-wrap: wrap; gap: 0 14px; --rl-plan-height: 100cqh; }
  .deep .holder { flex: 1 1 0; }
  .deep .foot { flex: 0 0 7.25rem; flex-direction: column; align-items: stretch; margin: 0; justify-content: flex-end; }
  .deep .foot .hint { flex: none; }
  .deep .note { flex: 1 0 100%; }
  .deep .note:empty { display: none; }
}
`);

export class RlLinks extends RlElement {
  /** @override */
  static sheets = [planSheet, sheet];

  /** @override */
  topics() {
    return ["face", "zones", "groups", "partitions", "one_way"];
  }

  /** @override */
  build() {
    /** @type {Map<string, boolean>} what was asked of each zone and is not yet answered */
    this.asked = new Map();
    this.view = new PlanView((zone) => this.#toggle(zone));
    this.note = make("p", { class: "note", part: "note", role: "status" });
    this.none = make("button", { class: "cell", part: "unlink-all", type: "button" }, "Unlink all");
    this.none.addEventListener("click", () => {
      if (this.none?.getAttribute("aria-disabled") !== "true") void this.#send({ type: "unlink-all" });
    });
    this.hint = make("span", { class: "hint" }, "Touch a room to link or unlink it.");
    // Before the place is known there is nothing to touch.
    this.foot = make("div", { class: "foot", hidden: true }, this.hint, this.none);
    this.pane = make("div", { part: "pane", role: "group", "aria-label": "Linked rooms" }, this.view.node, this.foot, this.note);
    this.root.append(this.pane);
  }

  /** @override */
  update() {
    const { session, view, asked, none } = this;
    if (!session?.venue || !view || !asked || !none) return;
    const { venue, store } = session;
    const face = store.face;
    const reach = session.controller === null ? null : venue.controllers[session.controller]?.reach ?? null;
    const still = !session.live;
    const { locked } = face;
    setAll(this, { "data-stale": still });
    if (this.foot) setAll(this.foot, { hidden: false });
    setAll(none, { "aria-disabled": String(still || !!locked || face.links.length === 0) });
    if (this.hint) {
      const unknown = Object.values(store.view.partitions).some((wall) => wall.position === "unknown");
      const how = locked ? `Nothing can be linked here: locked, ${lockedWords(venue, locked)}.` : "Touch a room to link or unlink it.";
      setText(this.hint, `${how}${unknown ? " Dotted: where the wall stands is not known." : ""}`);
    }
    this.pane?.classList.toggle("deep", view.deep(venue));
    view.draw(venue, store.view.groups, store.view.partitions, (id) => {
      const linked = face.links.some((link) => link.zone === id);
      const others = (store.view.zones[id]?.linked_by ?? []).filter((other) => other !== session.controller);
      const reachable = linked || !reach || reach.includes(id);
      const group = (store.view.zones[id]?.group ?? []).filter((other) => other !== id);
      const use = store.view.zones[id]?.in_use;
      const names = others.map((other) => controllerName(venue, other));
      const users = listedShort(names);
      const used = users && (linked ? `with ${users}` : users);
      const lines = [linked ? "linked" : reachable ? "" : "out of reach", ...flowLines(venue, store.view.one_way, id), used, use ? "booked" : ""].filter(Boolean);
      return {
        lines,
        label: [...lines, use ? useWords(use, venue.venue.timezone) : "", names.length > 2 ? `worked from ${listed(names)} too` : "", group.length ? `one room with ${listed(group.map((other) => zoneName(venue, other)))}` : ""].filter(Boolean).join(", "),
        on: linked,
        asked: asked.has(id),
        pressed: linked,
        disabled: still || !!locked || !reachable,
      };
    }, (id) => (store.view.partitions[id]?.requested?.met ? "" : requestShort(store.view.partitions[id], venue.venue.timezone)), Object.values(store.view.one_way));
  }

  /** @param {string} zone */
  #toggle(zone) {
    const linked = this.session?.store.face.links.some((link) => link.zone === zone);
    this.asked?.set(zone, !linked);
    this.update();
    void this.#send({ type: linked ? "unlink" : "link", zone }).then(() => {
      this.asked?.delete(zone);
      this.update();
    });
  }

  /** @param {Record<string, unknown>} message */
  async #send(message) {
    if (!this.session || !this.note) return;
    try {
      await this.session.socket.request(message);
      setText(this.note, "");
    } catch (error) {
      setText(this.note, refusalWords(error));
    }
  }
}
