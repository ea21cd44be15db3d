/**
 * What every element of the kit does: find the connection that it stands in, hear of the topics that it shows, paint
 * once a batch, and hear no more when it is taken out.
 *
 * @typedef {import("../src/session.js").Session} Session
 */
import { base } from "./sheet.js";

/** Told by a connection, to its descendants, that its session is another one. */
export const SESSION_EVENT = "rl-session";

export class RlElement extends HTMLElement {
  constructor() {
    super();
    this.root = this.attachShadow({ mode: "open" });
    const own = /** @type {typeof RlElement} */ (this.constructor).sheets;
    this.root.adoptedStyleSheets = [base, ...own];
    /** @type {Session | null} */
    this.session = null;
    /** @type {(() => void)[]} */
    this.leaving = [];
    this.built = false;
  }

  /** @type {CSSStyleSheet[]} */
  static sheets = [];

  connectedCallback() {
    if (!this.built) {
      this.built = true;
      this.build();
    }
    const scope = this.#scope();
    if (!scope) {
      this.root.replaceChildren(`<${this.localName}> belongs inside <rl-connection>.`);
      return;
    }
    const join = () => {
      this.#leave();
      this.session = scope.session;
      if (this.session) this.leaving.push(this.session.store.subscribe(this.topics(), () => this.update()));
      scope.addEventListener(SESSION_EVENT, join);
      this.leaving.push(() => scope.removeEventListener(SESSION_EVENT, join));
      this.update();
    };
    join();
  }

  disconnectedCallback() {
    this.#leave();
  }

  attributeChangedCallback() {
    // Attributes name what is shown, and so the topics: join again.
    if (this.isConnected && this.built) this.connectedCallback();
  }

  /** Makes the shadow tree, once. */
  build() {}

  /**
   * What to hear of.
   * @returns {string[]}
   */
  topics() {
    return [];
  }

  /** Paints what is known now. */
  update() {}

  #leave() {
    for (const leave of this.leaving.splice(0)) leave();
  }

  /** @returns {import("./connection.js").RlConnection | null} */
  #scope() {
    /** @type {Element} */
    let from = this;
    for (;;) {
      const found = from.closest("rl-connection");
      if (found) return /** @type {import("./connection.js").RlConnection} */ (found);
      const root = from.getRootNode();
      // The element may stand in another component's shadow tree.
      if (!(root instanceof ShadowRoot)) return null;
      from = root.host;
    }
  }
}
