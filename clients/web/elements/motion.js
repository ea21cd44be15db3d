/**
 * `<rl-motion control="screen">`: a screen, shade or lift that opens and closes. Unless the venue says otherwise it runs
 * only while somebody holds the key. `opens` and `closes` are the verbs, where "open" and "close" do not fit: a screen is
 * lowered. The stop key works whenever the service can be reached, held or not, locked or not.
 */
import { capitalised, motionWords } from "../src/format.js";
import { ControlElement } from "./control-element.js";
import { make, setAll, setText, sheetOf } from "./dom.js";
import { bindHold } from "./hold-key.js";

const sheet = sheetOf(`
.body { container-type: inline-size; }
.keys { display: grid; grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 8px; margin-top: 8px; }
@container (max-width: 14rem) { .keys { grid-template-columns: minmax(0, 1fr); } }
.keys .cell { min-height: max(64px, var(--target)); min-width: 0; padding: 6px 8px; overflow-wrap: break-word; font-size: 1.125rem; touch-action: none; }
.keys .run { flex-direction: column; border-radius: 40px; }
.keys .run[data-on]::before { content: none; }
.keys .stop { border-width: 3px; font-weight: 600; }
.caution { margin-top: 8px; font-size: 1rem; color: var(--faint); }
.state { font-size: 1.25rem; }
`);

/** @typedef {"open" | "close"} Way */

export class RlMotion extends ControlElement {
  /** @override */
  static observedAttributes = ["control", "label", "opens", "closes"];
  /** @override */
  static sheets = [sheet];

  /**
   * @override
   * @param {HTMLElement} body
   */
  buildBody(body) {
    /** @type {Way | null} the way that a finger here asks for */
    this.holding = null;
    const ways = /** @type {Way[]} */ (["open", "close"]);
    this.keys = ways.map((way) => {
      const title = make("span");
      const key = make("button", { class: "cell run", part: `${way} key`, type: "button", "data-way": way }, title);
      return { way, key, title, letGo: bindHold(key, (ended) => this.#begin(way, ended)) };
    });
    this.stop = make("button", { class: "cell stop", part: "stop key", type: "button" }, "Stop");
    // On the way down, not up: a stop that waits for the finger to lift is late.
    this.stop.addEventListener("pointerdown", () => this.#halt());
    this.stop.addEventListener("click", (event) => event.detail === 0 && this.#halt());
    this.caution = make("p", { class: "caution", part: "caution" });
    const [first = "", second = ""] = this.keys.map(({ key }) => key);
    body.append(make("div", { class: "keys", part: "keys" }, first, this.stop, second), this.caution);
  }

  /** @override */
  disconnectedCallback() {
    super.disconnectedCallback();
    for (const { letGo } of this.keys ?? []) letGo();
  }

  /** @param {Way} way */
  #verb(way) {
    return this.getAttribute(way === "open" ? "opens" : "closes") ?? way;
  }

  get #holds() {
    return this.spec?.hold !== false;
  }

  /**
   * @param {Way} way
   * @param {() => void} ended
   * @returns {() => void}
   */
  #begin(way, ended) {
    if (!this.#holds) {
      void this.order({ do: way }, way);
      return () => {};
    }
    this.holding = way;
    const letGo = this.hold(way, () => {
      this.holding = null;
      ended();
      this.update();
    });
    this.update();
    return letGo;
  }

  #halt() {
    if (this.stop?.getAttribute("aria-disabled") === "true") return;
    this.session?.holds.endControl(this.control, "");
    void this.orderAnyway({ do: "stop" });
  }

  /**
   * @override
   * @param {boolean} disabled
   */
  paint(disabled) {
    const { session, feedback, spec, keys, stop, caution, stateText } = this;
    if (!session || !keys || !stop || !caution || !stateText) return;
    const decided = !!feedback && feedback.decided !== false;
    const pending = this.asked ? this.asked.value : feedback?.pending ?? null;
    const does = decided ? motionWords(feedback.value, feedback.pending) : feedback?.mixed ? "Some run" : "\u2014";
    setText(stateText, decided && this.holding !== null && this.holding === feedback.value ? `${does}, let go to stop` : does);
    for (const { way, key, title } of keys) {
      const running = decided && feedback.value === way;
      const awaited = !running && (this.holding === way || pending === way);
      const verb = this.#verb(way);
      setText(title, this.#holds ? `Hold to ${verb}` : capitalised(verb));
      setAll(key, {
        "aria-label": `${this.label}: ${title.textContent}`,
        "aria-pressed": String(running),
        "aria-disabled": String(disabled),
        "data-on": running,
        "data-asked": awaited,
      });
    }
    setAll(stop, { "aria-label": `${this.label}: stop`, "aria-disabled": String(!session.live || !feedback) });
    const limit = spec?.max_run ? ` Stops by itself after ${Math.round(spec.max_run)}\u202fs.` : "";
    setText(caution, `Watch it move.${limit} Not a safety function.`);
  }
}
