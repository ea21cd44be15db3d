/**
 * What the elements for one control share: its name, its state in words, what linked zones disagree on and how to bring
 * them together, why something was refused, and whether it can be used now.
 *
 * @typedef {import("../src/types.js").Feedback} Feedback
 * @typedef {import("../src/types.js").Spec} Spec
 */
import { capitalised, controlName, duckedWords, listed, lockedWords, mixedWords, refusalWords, valueWords, zoneName } from "../src/format.js";
import { lockName, lockOver } from "../src/locks.js";
import { disarmedWords } from "../src/disarmed.js";
import { overrideName } from "../src/overrides.js";
import { AlignOffer } from "./align-offer.js";
import { RlElement } from "./base.js";
import { make, setAll, setText } from "./dom.js";

const NOTE_MS = 8000;
/** What is held cannot be aligned: it is not kept either. */
const UNALIGNED = ["", "momentary", "motion"];

export class ControlElement extends RlElement {
  static observedAttributes = ["control", "label"];

  constructor() {
    super();
    /** @type {number | undefined} */
    this.noteTimer = undefined;
    /** what was sent and not yet answered, and by it the order of answers */
    this.sent = 0;
  }

  get control() {
    return this.getAttribute("control") ?? "";
  }

  /** @returns {Spec | undefined} */
  get spec() {
    return this.session?.spec(this.control);
  }

  /** @returns {Feedback | undefined} */
  get feedback() {
    return this.session?.feedback(this.control);
  }

  /** What was asked and is not yet seen. */
  get asked() {
    return this.session?.asked.get(this.control);
  }

  get label() {
    const own = this.getAttribute("label");
    if (own !== null) return own;
    const name = controlName(this.control, this.spec);
    // In a joined room it must be said whose it is.
    const { session } = this;
    const of = session && this.spec?.scope === "local" ? session.zonesOf(this.control) : [];
    const told = session && of.length > 0 && of.length < session.store.face.links.length;
    return told ? `${name}, ${listed(of.map((zone) => zoneName(session.venue, zone)))}` : name;
  }

  /** The override that holds it, if any does. */
  get overriding() {
    return this.feedback?.overridden ?? this.session?.overridden ?? null;
  }

  /** The lock that a person set on it, here or in every room that it reaches. */
  get locking() {
    const { session } = this;
    return session && lockOver(session.store.view.locks, session.controller, this.control, session.zonesOf(this.control));
  }

  /** Why it cannot be used now, in words; empty when it can. */
  get hindrance() {
    const { session } = this;
    if (!session) return "Not connected";
    if (!session.live) return "Not current";
    const face = session.store.face;
    if (face.locked) return `Locked: ${lockedWords(session.venue, face.locked)}`;
    if (face.links.length === 0) return "No room linked";
    // Without any vote no linked room lets itself be worked from here: what is local stays with its own room.
    if (this.feedback?.decided === false && !this.feedback.mixed) return "Stays with its own room";
    const { overriding } = this;
    const { locking } = this;
    if (locking !== null && !overriding) return `Locked: ${lockName(session.store.view.locks, locking)}`;
    if (overriding) return `Held: ${overrideName(session.store.view.overrides, overriding)}`;
    if (!this.spec || !this.feedback) return "Not in the linked rooms";
    return "";
  }

  /** @override */
  topics() {
    return [`control:${this.control}`, "face", "overrides", "locks"];
  }

  /** @override */
  build() {
    this.nameText = make("span", { class: "name", part: "name", id: "name" });
    this.stateText = make("span", { class: "state", part: "state" });
    this.wordsText = make("span", { class: "words", part: "words" });
    this.alignKey = make("button", { class: "align", part: "align", type: "button", hidden: true }, "Align");
    this.offer = new AlignOffer(this);
    this.unsent = make("p", { class: "unsent", part: "disarmed", role: "status" });
    this.body = make("div", { class: "body", part: "body" });
    this.note = make("p", { class: "note", part: "note", role: "status" });
    this.head = make("div", { class: "head", part: "head" }, this.nameText, this.stateText, this.wordsText, this.alignKey, this.offer.key);
    this.root.append(
      make("div", { class: "pane", part: "pane", role: "group", "aria-labelledby": "name" }, this.head, this.unsent, this.offer.box, this.body, this.note),
    );
    this.alignKey.addEventListener("click", () => this.order({ do: "align" }));
    this.buildBody(this.body);
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    window.clearTimeout(this.noteTimer);
  }

  /** @override */
  update() {
    const { session, spec, feedback, hindrance } = this;
    if (!session || !this.nameText) return;
    const stale = !session.live;
    setAll(this, { "data-stale": stale, "data-still": !stale && hindrance !== "" });
    setText(this.nameText, this.label);
    const ducked = duckedWords(spec, feedback);
    const said = hindrance || capitalised([mixedWords(session.venue, session.store.face, feedback) || this.pickupWords(), ducked].filter(Boolean).join("; "));
    this.wordsText?.classList.toggle("plain", hindrance !== "" || !feedback?.mixed);
    if (this.wordsText) setText(this.wordsText, said);
    // Said once on the page it need not be read at every control; a screen reader still hears it.
    const { live, saidOnce, store } = session;
    const standing = !live || !!store.face.locked || store.face.links.length === 0;
    this.wordsText?.classList.toggle("unseen", standing ? saidOnce.has("standing") : this.overriding !== null && saidOnce.has("overrides"));
    const alignable = hindrance === "" && !!feedback?.mixed && !UNALIGNED.includes(spec?.kind ?? "");
    const canAlign = alignable && feedback.decided !== false;
    this.offer?.paint(alignable && !canAlign);
    const disarmed = session.disarmedIn(this.control);
    setAll(this, { "data-disarmed": disarmed.length > 0 });
    if (this.unsent) setText(this.unsent, disarmedWords(session.venue, session.zonesOf(this.control), disarmed));
    if (this.alignKey) {
      setAll(this.alignKey, { hidden: !canAlign });
      if (canAlign && spec) {
        setAll(this.alignKey, { "aria-label": `Align ${this.label}: ${valueWords(session.venue, spec, feedback.value)} in all rooms` });
      }
    }
    this.paint(hindrance !== "");
  }

  /** Which levels must first be met before this panel moves them. */
  pickupWords() {
    const links = this.session?.store.face.links ?? [];
    const zones = links.filter((link) => link.pickup?.includes(this.control)).map((link) => zoneName(this.session?.venue ?? null, link.zone));
    return zones.length ? `Pass the level of ${listed(zones)} to take it over` : "";
  }

  /**
   * Makes what is particular to the kind, once.
   * @param {HTMLElement} _body
   */
  buildBody(_body) {}

  /**
   * Paints what is particular to the kind.
   * @param {boolean} _disabled
   */
  paint(_disabled) {}

  /**
   * Orders something of the service; a refusal is said at the control.
   * @param {Record<string, unknown>} order
   * @param {unknown} [asked]
   * @returns {Promise<void>} settled either way
   */
  order(order, asked) {
    return this.hindrance ? Promise.resolve() : this.orderAnyway(order, asked);
  }

  /**
   * The same for what must be possible while nothing else is: a stop.
   * @param {Record<string, unknown>} order
   * @param {unknown} [asked]
   * @returns {Promise<void>} settled either way
   */
  orderAnyway(order, asked) {
    const { session } = this;
    if (!session) return Promise.resolve();
    this.dispatchEvent(new CustomEvent("rl-order", { bubbles: true, composed: true, detail: { control: this.control, ...order } }));
    const turn = ++this.sent;
    return session.act(this.control, order, asked).then(
      () => {
        if (turn === this.sent) this.say("");
      },
      (error) => this.refused(error),
    );
  }

  /**
   * @param {"press" | "raise" | "lower" | "open" | "close"} begin
   * @param {() => void} ended
   * @returns {() => void}
   */
  hold(begin, ended) {
    const { session } = this;
    if (!session) return () => {};
    this.say("");
    this.dispatchEvent(new CustomEvent("rl-order", { bubbles: true, composed: true, detail: { control: this.control, do: begin } }));
    return session.hold(
      this.control,
      begin,
      (why) => {
        ended();
        if (why) this.say(why);
      },
      (error) => this.refused(error),
    );
  }

  /** @param {unknown} error */
  refused(error) {
    this.dispatchEvent(new CustomEvent("rl-refused", { bubbles: true, composed: true, detail: { control: this.control, error } }));
    this.say(refusalWords(error));
  }

  /**
   * Says something at the control, for a while.
   * @param {string} words
   */
  say(words) {
    if (!this.note) return;
    window.clearTimeout(this.noteTimer);
    setText(this.note, words);
    if (words) this.noteTimer = window.setTimeout(() => this.say(""), NOTE_MS);
  }
}
