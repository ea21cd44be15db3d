/**
 * What this panel holds now: one entry a finger or key. Each is let go exactly once, whatever happens to the finger,
 * the page or the socket.
 */
export class Holds {
  /** @param {(any: boolean) => void} onAny  told when the first hold starts and when the last one ends */
  constructor(onAny) {
    this.onAny = onAny;
    /** @type {Map<object, {control: string, letGo: (why: string, tell: boolean) => void}>} */
    this.held = new Map();
  }

  /**
   * Starts a hold.
   * @param {string} control
   * @param {(why: string, tell: boolean) => void} letGo  run once, when it ends; `why` is "" when the holder let go;
   *   `tell` is false when the service ended it, so that it must not be told: a late `stop` would end whatever came next
   * @returns {(why?: string) => void} ends it; calling it again does nothing
   */
  start(control, letGo) {
    const key = {};
    this.held.set(key, { control, letGo });
    if (this.held.size === 1) this.onAny(true);
    return (why = "") => this.#end(key, why, true);
  }

  /**
   * Ends every hold.
   * @param {string} why
   */
  endAll(why) {
    for (const key of [...this.held.keys()]) this.#end(key, why, true);
  }

  /**
   * Ends the holds on one control: the service says that it let go.
   * @param {string} control
   * @param {string} why
   */
  endControl(control, why) {
    for (const [key, hold] of [...this.held]) if (hold.control === control) this.#end(key, why, false);
  }

  /**
   * @param {object} key
   * @param {string} why
   * @param {boolean} tell
   */
  #end(key, why, tell) {
    const hold = this.held.get(key);
    if (!hold) return;
    this.held.delete(key);
    // The last sign of life goes out before the release, never after it.
    if (this.held.size === 0) this.onAny(false);
    hold.letGo(why, tell);
  }
}
