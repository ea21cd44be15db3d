/**
 * `<rl-status>`: what this panel works on, as a sentence; whether what it shows is current; and what the linked zones
 * disagree on, with one touch to bring them together.
 */
import { requestNotices, useNotices } from "../src/bookings.js";
import { controlName, differingWords, refusalWords, standingWords, wallNotices, words } from "../src/format.js";
import { flowNotices, heardNotices } from "../src/travel.js";
import { RlElement } from "./base.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.rooms { margin: 0; font-size: clamp(2rem, min(4.4vw, 6vh), 3.25rem); line-height: 1.08; font-weight: 300; letter-spacing: -0.012em; overflow-wrap: anywhere; }
.rooms[data-many] { font-size: clamp(1.625rem, min(3vw, 4.4vh), 2.5rem); }
.standing { margin-top: 6px; font-size: 1.25rem; }
.live { margin-top: 6px; font-size: 1rem; color: var(--faint); }
.live::before { content: "\\25CF\\00a0"; color: var(--rl-safe, #66c98b); }
.live[data-stale] { color: var(--on-abnormal); background: var(--abnormal); padding: 12px 16px; font-size: 1.125rem; font-weight: 600; }
.live[data-stale]::before { content: "\\25B2\\00a0\\00a0"; color: inherit; }
.again { display: flex; align-items: center; min-height: 52px; padding: 0 16px; background: var(--abnormal); color: var(--on-abnormal); font-size: 1.125rem; font-weight: 600; }
.again[hidden] { display: none; }
.mixed { display: flex; flex-wrap: wrap; gap: 8px 16px; align-items: center; margin-top: 10px; padding: 8px 14px; border-left: 4px solid var(--abnormal); background: var(--pane); }
.mixed p { flex: 1 1 9rem; font-size: 1rem; }
.mixed .cell { font-size: 1.125rem; min-height: 48px; }
.walls { margin-top: 6px; line-height: 1.25; font-size: 1rem; }
.walls:not(:empty)::before { content: "\\25B3\\00a0"; color: var(--mark); font-weight: 700; }
.booked { margin-top: 6px; font-size: 1rem; }
.asked { margin-top: 6px; line-height: 1.3; font-size: 1rem; padding-left: 12px; border-left: 4px solid var(--abnormal); }
.flows { margin-top: 6px; line-height: 1.3; font-size: 1rem; }
.flows:not(:empty)::before { content: "\\2192\\00a0"; }
.booked:empty, .flows:empty, .asked:empty, .note:empty { display: none; }
:host([watching]) .rooms, :host([watching]) .standing { display: none; }
`);

export class RlStatus extends RlElement {
  static observedAttributes = ["watching"];
  /** @override */
  static sheets = [sheet];

  /** @override */
  topics() {
    // Any feedback may begin or end to disagree, and which controls there are is known only later.
    return ["face", "zones", "groups", "partitions", "one_way", "microphones", "overrides", "seq"];
  }

  /** @override */
  build() {
    this.rooms = make("h1", { class: "rooms", part: "rooms" });
    this.standing = make("p", { class: "standing", part: "standing", role: "status" });
    this.live = make("p", { class: "live", part: "connection", role: "status" });
    this.walls = make("p", { class: "walls", part: "walls", role: "status" });
    // A screen on a wall has no address line: this is its way to be paired or signed in again.
    this.again = make("a", { class: "again", part: "again", href: "", hidden: true }, "Sign in or pair again");
    this.booked = make("p", { class: "booked", part: "booked", role: "status" });
    this.asked = make("p", { class: "asked", part: "asked", role: "status" });
    this.flows = make("p", { class: "flows", part: "flows", role: "status" });
    this.mixedText = make("p");
    this.align = make("button", { class: "cell", part: "align", type: "button" }, "Align all");
    this.mixed = make("div", { class: "mixed", part: "mixed", hidden: true }, this.mixedText, this.align);
    this.note = make("p", { class: "note", part: "note", role: "status" });
    this.align.addEventListener("click", () => void this.#alignAll());
    this.root.append(this.rooms, this.standing, this.live, this.again, this.booked, this.flows, this.asked, this.walls, this.mixed, this.note);
  }

  /** Controls whose linked zones differ. */
  #differing() {
    const controls = Object.entries(this.session?.store.face.controls ?? {});
    return controls.filter(([, feedback]) => feedback.mixed && feedback.kind !== "momentary" && feedback.kind !== "motion");
  }

  /** @override */
  update() {
    const { session, rooms, standing, live, walls, mixed, mixedText, align } = this;
    if (!session || !rooms || !standing || !live || !walls || !mixed || !mixedText || !align) return;
    const { venue, store } = session;
    session.saidOnce.add("standing");
    const known = venue !== null && store.seq >= 0;
    const said = standingWords(venue, store.face, store.view.groups, store.view.leads);
    setAll(rooms, { "data-many": store.face.links.length > 2 });
    // Without the service only the panel's own name is known.
    setText(rooms, known ? said.rooms : session.controller !== null && session.socket.state === "stale" ? words(session.controller) : "\u2026");
    setText(standing, known ? said.standing : "");
    const trouble = session.venueTrouble || session.trouble;
    if (this.again) setAll(this.again, { hidden: !session.out, href: location.pathname });
    setAll(live, { "data-stale": !session.live || session.serviceTrouble !== "" });
    setText(live, session.live ? session.serviceTrouble || "Live" : known ? `Not current, and nothing can be changed. ${trouble}${session.out ? "" : " Trying again."}` : `${trouble} ${session.waits ? "Waiting for it; this comes to life by itself." : ""}`.trim());
    setText(walls, known ? wallNotices(venue, store.face, store.view.partitions).join(" ") : "");
    const linked = store.face.links.map((link) => link.zone);
    if (this.booked) setText(this.booked, known ? useNotices(venue, store.view.zones, linked).join(" ") : "");
    const home = session.home ?? null;
    const flows = known ? [...flowNotices(venue, store.view.one_way, home, linked), ...heardNotices(venue, store.view.microphones, linked)] : [];
    if (this.flows) setText(this.flows, flows.join(" "));
    if (this.asked) setText(this.asked, known ? requestNotices(venue, store.view.partitions, linked).join(" ") : "");
    const differing = this.#differing();
    setAll(mixed, { hidden: !session.live || differing.length === 0 });
    setText(mixedText, differingWords(venue, store.face, differing.map(([name, feedback]) => ({ name: controlName(name, session.spec(name)), feedback }))));
    const able = differing.filter(([, feedback]) => feedback.decided !== false).length;
    setAll(align, { hidden: able === 0, "aria-disabled": String(!!store.face.locked || session.overridden !== null) });
    setText(align, able === differing.length ? "Align all" : "Align what is decided");
  }

  async #alignAll() {
    const { session, note } = this;
    if (!session || !note || this.align?.getAttribute("aria-disabled") === "true") return;
    setText(note, "");
    const able = this.#differing().filter(([, feedback]) => feedback.decided !== false);
    const answers = await Promise.allSettled(able.map(([name]) => session.act(name, { do: "align" })));
    const refused = answers.find((answer) => answer.status === "rejected");
    if (refused) setText(note, refusalWords(/** @type {PromiseRejectedResult} */ (refused).reason));
  }
}
