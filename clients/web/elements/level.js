/**
 * `<rl-level control="volume">`: a level drawn as a dimension line that fills with light, with two keys that raise and
 * lower while they are held. A drag moves the value by as much as the finger moves: nothing jumps under a resting hand.
 */
import { decimals, figure, valueWords } from "../src/format.js";
import { Pace } from "../src/pace.js";
import { clamp, fraction, keyStep, marks, rounded } from "../src/scale.js";
import { isUnderWay, shownLevel } from "../src/trajectory.js";
import { ControlElement } from "./control-element.js";
import { make, setAll, setText } from "./dom.js";
import { bindHold } from "./hold-key.js";
import { bindDrag } from "./level-drag.js";
import { levelSheet } from "./level-sheet.js";

export class RlLevel extends ControlElement {
  /** @override */
  static observedAttributes = ["control", "label", "orientation", "keys"];
  /** @override */
  static sheets = [levelSheet];

  constructor() {
    super();
    /** @type {number | null} what the finger asks for, while it drags */
    this.dragged = null;
    this.animating = false;
    this.pace = new Pace(
      (/** @type {number} */ value) => this.order({ do: "set", value }, value),
      (run) => requestAnimationFrame(run),
    );
  }

  get vertical() {
    return this.getAttribute("orientation") === "vertical";
  }

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    this.fill = make("div", { class: "fill", part: "fill" });
    this.edge = make("div", { class: "edge", part: "asked" });
    this.cap = make("div", { class: "cap", part: "ceiling", hidden: true });
    this.scale = make("div", { class: "scale", part: "scale", "aria-hidden": "true" });
    this.track = make(
      "div",
      { class: "track", part: "track", role: "slider", tabindex: "0", "aria-labelledby": "name" },
      this.fill,
      this.cap,
      this.edge,
    );
    this.lower = make("button", { class: "cell key", part: "lower key", type: "button" }, "\u2212");
    this.raise = make("button", { class: "cell key", part: "raise key", type: "button" }, "+");
    const letGoLower = bindHold(this.lower, (ended) => this.hold("lower", ended));
    const letGoRaise = bindHold(this.raise, (ended) => this.hold("raise", ended));
    this.letGo = () => {
      letGoLower();
      letGoRaise();
    };
    bindDrag(this.track, {
      vertical: () => this.vertical,
      from: () => (this.hindrance === "" && this.spec ? this.#startingFraction() : undefined),
      to: (part) => this.#dragTo(part),
      end: () => this.#dragEnd(),
    });
    this.track.addEventListener("keydown", (event) => this.#key(event));
    body.append(this.lower, make("div", { class: "rail" }, this.track, this.scale), this.raise);
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    this.pace.forget();
    this.letGo?.();
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { spec, track, lower, raise, cap, scale } = this;
    setAll(this, { "data-undecided": !spec?.range });
    if (!spec?.range || !track || !lower || !raise || !cap || !scale) return;
    const { range } = spec;
    const top = clamp(range[1], range, spec.ceiling);
    setAll(track, {
      "aria-disabled": String(disabled),
      "aria-orientation": this.vertical ? "vertical" : "horizontal",
      "aria-valuemin": String(range[0]),
      "aria-valuemax": String(top),
    });
    setAll(lower, { "aria-label": `Lower ${this.label}`, "aria-disabled": String(disabled) });
    setAll(raise, { "aria-label": `Raise ${this.label}`, "aria-disabled": String(disabled) });
    setAll(cap, { hidden: top >= range[1] });
    cap.style.setProperty("--at", String(fraction(top, range)));
    const key = `${range.join()} ${spec.unit}`;
    if (scale.dataset.key !== key) {
      scale.dataset.key = key;
      scale.replaceChildren(
        ...marks(range, 5).map((value) => {
          const mark = make("span", { class: "mark" }, figure(value, 0));
          mark.style.setProperty("--at", String(fraction(value, range)));
          return mark;
        }),
      );
    }
    this.#draw();
  }

  /** Draws the value as it is in this instant, and again at the next frame while it moves. */
  #draw() {
    const { session, spec, feedback, track, fill, edge, stateText } = this;
    if (!session || !spec?.range || !track || !fill || !edge || !stateText) return;
    const now = session.serviceNow();
    const value = shownLevel(feedback, now);
    const asked = this.dragged ?? (typeof this.asked?.value === "number" ? this.asked.value : null);
    const shown = asked ?? value;
    fill.style.setProperty("--at", String(value === null ? 0 : fraction(value, spec.range)));
    edge.style.setProperty("--at", String(shown === null ? 0 : fraction(shown, spec.range)));
    setAll(this, { "data-asked": asked !== null, "data-undecided": value === null, "data-differs": value === null && !!feedback?.mixed });
    setText(stateText, shown === null ? "\u2014" : valueWords(session.venue, spec, shown));
    const moving = isUnderWay(feedback?.moving, now);
    const told = moving && asked === null ? feedback?.moving?.to ?? shown : shown;
    // A screen reader hears where a ramp goes, not every frame of it.
    setAll(track, {
      "aria-valuenow": told === null ? null : String(told),
      "aria-valuetext": told === null ? (feedback?.mixed ? "Rooms differ" : "no value") : `${moving ? "moving to " : ""}${valueWords(session.venue, spec, told)}`,
    });
    if (moving && !this.animating && this.isConnected) {
      this.animating = true;
      requestAnimationFrame(() => {
        this.animating = false;
        this.#draw();
      });
    }
  }

  /** Where a drag begins: null where linked zones differ, so that the finger itself says where. */
  #startingFraction() {
    const { spec, session } = this;
    if (!spec?.range || !session) return undefined;
    const asked = this.asked?.value;
    const value = typeof asked === "number" ? asked : shownLevel(this.feedback, session.serviceNow());
    return value === null ? null : fraction(value, spec.range);
  }

  /** @param {number} part  of the range, within 0 and 1 */
  #dragTo(part) {
    const { spec } = this;
    // The connection may go while the finger is down.
    if (!spec?.range || this.hindrance) return this.#dragEnd();
    const [lo, hi] = spec.range;
    const value = rounded(clamp(lo + part * (hi - lo), spec.range, spec.ceiling), decimals(spec));
    if (value === this.dragged) return;
    this.dragged = value;
    this.#draw();
    this.pace.offer(value);
  }

  #dragEnd() {
    this.dragged = null;
    this.#draw();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const { spec, session } = this;
    if (!spec?.range || !session || this.hindrance) return;
    const step = keyStep(spec.range);
    const by = { ArrowRight: step, ArrowUp: step, ArrowLeft: -step, ArrowDown: -step, PageUp: 10 * step, PageDown: -10 * step }[event.key];
    const end = { Home: spec.range[0], End: spec.range[1] }[event.key];
    if (by === undefined && end === undefined) return;
    event.preventDefault();
    // A second press may come before the first one was sent.
    const asked = this.pace.latest?.value ?? this.asked?.value;
    const from = typeof asked === "number" ? asked : shownLevel(this.feedback, session.serviceNow());
    if (end === undefined && from === null) {
      this.say("The rooms differ. Raise or lower them from where each is, or press Home or End.");
      return;
    }
    const target = end ?? /** @type {number} */ (from) + /** @type {number} */ (by);
    this.pace.offer(rounded(clamp(target, spec.range, spec.ceiling), decimals(spec)));
  }
}
