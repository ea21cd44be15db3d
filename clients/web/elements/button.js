/**
 * `<rl-button control="program" value="laptop">`: one value of a control as a button of its own. `value` is an option, a
 * number in the level's unit, `on` or `off`, or `none`; `over` is seconds, for a level. `do="align"` aligns instead.
 */
import { rounded } from "../src/scale.js";
import { decimals, valueWords } from "../src/format.js";
import { shownLevel } from "../src/trajectory.js";
import { ControlElement } from "./control-element.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.pane { padding: 0; }
.head { display: none; }
.cell { width: 100%; font-size: 1.25rem; }
.offer { display: none; }
.cell[data-on]::before { content: "\\2713\\00a0"; }
.cell[data-mixed]::before { content: "\\2260\\00a0"; }
`);

export class RlButton extends ControlElement {
  /** @override */
  static observedAttributes = ["control", "label", "value", "over", "do"];
  /** @override */
  static sheets = [sheet];

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    this.key = make("button", { class: "cell", part: "key", type: "button" });
    this.key.addEventListener("click", () => {
      if (this.key?.getAttribute("aria-disabled") === "true") return;
      if (this.getAttribute("do") === "align") void this.order({ do: "align" });
      else void this.order({ do: "set", value: this.#target(), ...this.#over() }, this.#target());
    });
    body.append(this.key);
  }

  #over() {
    const over = this.getAttribute("over");
    return over === null ? {} : { over: Number(over) };
  }

  /** The value that a press asks for, as the service takes it. */
  #target() {
    const value = this.getAttribute("value") ?? "";
    if (this.spec?.kind === "level") return Number(value);
    if (this.spec?.kind === "switch") return value === "on";
    return value === "none" || value === "" ? null : value;
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { key, spec, session, feedback } = this;
    if (!key || !spec || !session) return;
    const target = this.#target();
    const aligns = this.getAttribute("do") === "align";
    const level = spec.kind === "level" ? shownLevel(feedback, session.serviceNow()) : null;
    const value = level === null ? feedback?.value : rounded(level, decimals(spec));
    const on = !aligns && !!feedback && feedback.decided !== false && value === target;
    setText(key, this.getAttribute("label") ?? (aligns ? "Align" : valueWords(session.venue, spec, target)));
    setAll(key, {
      "aria-label": `${this.spec?.name || this.control}: ${key.textContent}`,
      "aria-pressed": aligns ? null : on && feedback.mixed ? "mixed" : String(on),
      "aria-disabled": String(disabled),
      "data-on": on && !feedback.mixed,
      "data-mixed": on && !!feedback.mixed,
      "data-asked": !!this.asked && this.asked.value === target && !on,
    });
  }
}
