/** `<rl-switch control="mute">`: a toggle button; linked zones that disagree make it `aria-pressed="mixed"`. */
import { ControlElement } from "./control-element.js";
import { make, setAll, setText, sheetOf } from "./dom.js";

const sheet = sheetOf(`
.pane { padding: 0; }
.toggle { width: 100%; border: 0; gap: 16px; font-size: 1.375rem; padding: 8px 18px; min-height: max(68px, var(--target)); }
.title { text-align: left; }
.value { margin-left: auto; }
.mark { flex: none; width: 30px; height: 30px; border-radius: 50%; border: 3px solid currentColor; }
[data-on] .mark { background: currentColor; box-shadow: inset 0 0 0 4px var(--lit); }
[data-mixed] .mark { background: linear-gradient(90deg, currentColor 50%, transparent 50%); }
.head .name { display: none; }
.head { min-height: 0; }
.words:not(:empty) { padding: 10px 18px 0; }
.align:not([hidden]) { margin: 4px 8px 0 auto; }
.note:not(:empty) { margin: 0; }
.unsent:not(:empty), .offer { margin: 8px 18px; }
`);

export class RlSwitch extends ControlElement {
  /** @override */
  static sheets = [sheet];

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    this.titleText = make("span", { class: "title" });
    this.valueText = make("span", { class: "value", part: "value" });
    this.toggle = make(
      "button",
      { class: "cell toggle", part: "toggle", type: "button" },
      this.titleText,
      this.valueText,
      make("span", { class: "mark", "aria-hidden": "true" }),
    );
    this.toggle.addEventListener("click", () => {
      if (this.toggle?.getAttribute("aria-disabled") === "true") return;
      const target = !this.#isOn();
      void this.order({ do: "set", value: target }, target);
    });
    body.append(this.toggle);
  }

  /** Where linked zones disagree a press turns all on, as ARIA has it for a mixed toggle. */
  #isOn() {
    const { asked, feedback } = this;
    if (asked) return asked.value === true;
    if (typeof feedback?.pending === "boolean") return feedback.pending;
    return feedback?.decided !== false && feedback?.value === true && !feedback.mixed;
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { feedback, toggle, asked } = this;
    if (!toggle || !this.titleText || !this.valueText) return;
    const decided = !!feedback && feedback.decided !== false;
    const mixed = !!feedback?.mixed;
    const on = decided && feedback.value === true;
    const coming = asked ? asked.value : feedback?.pending ?? undefined;
    const awaited = coming !== undefined && (coming !== feedback?.value || mixed);
    setText(this.titleText, this.label);
    const now = !feedback ? "" : !decided ? (mixed ? "Differs" : "") : on ? "On" : "Off";
    setText(this.valueText, awaited ? `${coming ? "On" : "Off"}, asked` : now);
    setAll(toggle, {
      "aria-pressed": mixed ? "mixed" : String(on),
      "aria-disabled": String(disabled),
      "data-on": on && !mixed,
      "data-mixed": mixed,
      "data-asked": awaited,
    });
  }
}
