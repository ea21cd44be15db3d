/**
 * Whether somebody uses the page. After some time without use it is idle; the touch that ends idleness does nothing else,
 * so that a hand in the dark finds the panel without moving a room. No DOM: timers are handed in.
 *
 * @typedef {import("./types.js").Timers} Timers
 */
export class Idle {
  /**
   * @param {Timers} timers
   * @param {number} afterMs
   * @param {(idle: boolean) => void} onChange
   */
  constructor(timers, afterMs, onChange) {
    this.timers = timers;
    this.afterMs = afterMs;
    this.onChange = onChange;
    this.idle = false;
    /** @type {unknown} */
    this.timer = null;
    /** fingers and keys that are down: who holds something is there, however still */
    this.down = 0;
    this.#wait();
  }

  /**
   * Something was touched, pressed or let go.
   * @param {-1 | 0 | 1} [change]  1 for a finger or key that went down, -1 for one that came up
   * @returns {boolean} whether it only woke the page, and must not act
   */
  used(change = 0) {
    const woke = this.idle;
    this.down = Math.max(0, this.down + change);
    if (woke) this.#become(false);
    this.#wait();
    return woke;
  }

  #wait() {
    if (this.timer !== null) this.timers.clear(this.timer);
    this.timer = this.timers.set(() => {
      this.timer = null;
      if (this.down > 0) this.#wait();
      else this.#become(true);
    }, this.afterMs);
  }

  /** @param {boolean} idle */
  #become(idle) {
    this.idle = idle;
    this.onChange(idle);
  }
}
