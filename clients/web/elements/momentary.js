/** `<rl-momentary control="talkback">`: on only while it is held. */
import { ControlElement } from "./control-element.js";
import { make, setAll, setText, sheetOf } from "./dom.js";
import { bindHold } from "./hold-key.js";

const sheet = sheetOf(`
.pane { padding: 0; background: none; }
.pane::before, .pane::after { content: none; }
.hold { width: 100%; flex-direction: column; background: linear-gradient(168deg, var(--pane-edge), var(--pane) 46%); font-size: 1.375rem; min-height: max(70px, var(--target)); border-radius: 40px; touch-action: none; }
.hint { font-size: 1rem; font-weight: 400; opacity: 0.86; }
.head .name { display: none; }
.head { min-height: 0; }
.words:not(:empty), .unsent:not(:empty) { margin: 0 18px 6px; }
`);

export class RlMomentary extends ControlElement {
  /** @override */
  static sheets = [sheet];

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    this.titleText = make("span");
    this.hintText = make("span", { class: "hint", part: "value" });
    this.key = make("button", { class: "cell hold", part: "key", type: "button" }, this.titleText, this.hintText);
    this.letGo = bindHold(this.key, (ended) => {
      this.holding = true;
      const over = () => {
        this.holding = false;
        ended();
        this.update();
      };
      const letGo = this.hold("press", over);
      this.update();
      return letGo;
    });
    body.append(this.key);
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    this.letGo?.();
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { feedback, key } = this;
    if (!key || !this.titleText || !this.hintText) return;
    const mixed = !!feedback?.mixed;
    const on = feedback?.value === true || mixed;
    const awaited = !!this.holding && !on;
    setText(this.titleText, this.label);
    setText(this.hintText, awaited ? "Asked" : this.holding ? "On, let go to end" : on ? "On, held elsewhere" : "Hold");
    setAll(key, { "aria-pressed": mixed ? "mixed" : String(on), "aria-disabled": String(disabled), "data-on": on, "data-asked": awaited });
  }
}
