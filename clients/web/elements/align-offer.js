/**
 * Where linked zones differ and none of their values is shown: which room has what, and a key for each value held that
 * brings all rooms to it. The values are asked for when somebody opens it; a panel is not told them otherwise.
 *
 * @typedef {import("./control-element.js").ControlElement} ControlElement
 * @typedef {import("../src/types.js").Feedback} Feedback
 */
import { alignChoices, heldWords } from "../src/align.js";
import { refusalWords } from "../src/format.js";
import { make, setAll, setText } from "./dom.js";

export class AlignOffer {
  /** @param {ControlElement} element */
  constructor(element) {
    this.element = element;
    this.held = make("p", { class: "held", part: "held" });
    this.keys = make("div", { class: "offers" });
    this.box = make("div", { class: "offer", part: "offer", id: "offer", hidden: true }, this.held, this.keys);
    this.key = make("button", { class: "align", part: "align-open", type: "button", hidden: true, "aria-expanded": "false", "aria-controls": "offer" }, "Align\u2026");
    this.key.addEventListener("click", () => (this.box.hidden ? void this.#open() : this.close()));
  }

  /** @param {boolean} offered  whether there is something to align and no value shown to align to */
  paint(offered) {
    setAll(this.key, { hidden: !offered, "aria-label": `Align ${this.element.label}: which room has what` });
    if (!offered) this.close();
  }

  close() {
    this.box.hidden = true;
    setAll(this.key, { "aria-expanded": "false" });
  }

  async #open() {
    const { session, spec, control } = this.element;
    if (!session || !spec) return;
    const zones = session.store.face.links.map((link) => link.zone);
    try {
      const answers = await Promise.all(zones.map((zone) => session.ask(`zones/${encodeURIComponent(zone)}`)));
      const found = zones.flatMap((zone, i) => {
        const feedback = /** @type {Feedback | undefined} */ (answers[i].controls?.[control]);
        return feedback ? [/** @type {[string, Feedback]} */ ([zone, feedback])] : [];
      });
      const { home } = session;
      const group = session.store.view.groups.find((each) => home !== null && each.includes(home)) ?? [];
      const choices = alignChoices(session.venue, spec, home, group, found);
      setText(this.held, heldWords(choices));
      this.keys.replaceChildren(...choices.map(({ value, label }) => this.#offer(label, value)));
      this.box.hidden = this.key.hidden;
      setAll(this.key, { "aria-expanded": String(!this.box.hidden) });
    } catch (error) {
      this.element.say(refusalWords(error));
    }
  }

  /**
   * @param {string} label
   * @param {unknown} value
   */
  #offer(label, value) {
    const key = make("button", { class: "cell", part: "align-to", type: "button" }, label);
    key.addEventListener("click", () => {
      this.close();
      void this.element.order({ do: "align", value }, value);
    });
    return key;
  }
}
