/**
 * What was asked and is not yet seen: it is drawn differently from what is. An entry goes when the view has caught up
 * with the answer, when the answer was a refusal, or when the answer changed nothing and no change will ever come.
 *
 * @typedef {import("./types.js").Ok} Ok
 * @typedef {import("./types.js").Timers} Timers
 */
export const CATCH_UP_MS_MAX = 400;

export class Asked {
  /**
   * @param {(key: string) => void} touch  told when the entry of a key came, changed or went
   * @param {Timers} timers
   */
  constructor(touch, timers) {
    this.touch = touch;
    this.timers = timers;
    /** @type {Map<string, {value: unknown, seq: number | null}>} */
    this.entries = new Map();
    this.seen = -1;
  }

  /**
   * @param {string} key
   * @returns {{value: unknown} | undefined}
   */
  get(key) {
    return this.entries.get(key);
  }

  /**
   * Remembers a request until its outcome is seen. A newer one on the same key replaces it.
   * @template {Ok} T
   * @param {string} key
   * @param {unknown} value
   * @param {Promise<T>} answer
   * @returns {Promise<T>} the same answer
   */
  put(key, value, answer) {
    /** @type {{value: unknown, seq: number | null}} */
    const entry = { value, seq: null };
    this.entries.set(key, entry);
    this.touch(key);
    return answer.then(
      (ok) => {
        entry.seq = ok.seq;
        if (ok.seq <= this.seen) this.#drop(key, entry);
        else this.timers.set(() => this.#drop(key, entry), CATCH_UP_MS_MAX);
        return ok;
      },
      (error) => {
        this.#drop(key, entry);
        throw error;
      },
    );
  }

  /**
   * The view is now as of this journal position.
   * @param {number} seq
   */
  caughtUp(seq) {
    this.seen = seq;
    for (const [key, entry] of [...this.entries]) if (entry.seq !== null && entry.seq <= seq) this.#drop(key, entry);
  }

  /**
   * @param {string} key
   * @param {object} entry
   */
  #drop(key, entry) {
    if (this.entries.get(key) !== entry) return;
    this.entries.delete(key);
    this.touch(key);
  }
}
