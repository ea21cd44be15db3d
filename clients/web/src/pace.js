/**
 * Lets the latest value through, at most one a frame and one on the way at a time: a finger gives 120 values a second,
 * and a slow link must not queue up yesterday's.
 *
 * @template T
 */
export class Pace {
  /**
   * @param {(value: T) => Promise<unknown>} send  its rejection is the sender's to report
   * @param {(run: () => void) => void} frame  runs something at the next frame
   */
  constructor(send, frame) {
    this.send = send;
    this.frame = frame;
    /** @type {{value: T} | null} */
    this.latest = null;
    this.busy = false;
  }

  /**
   * The last value offered is always sent, unless a newer one or `forget()` comes first.
   * @param {T} value
   */
  offer(value) {
    this.latest = { value };
    if (!this.busy) this.#next();
  }

  /** Drops what was not sent yet. */
  forget() {
    this.latest = null;
  }

  #next() {
    const latest = this.latest;
    this.busy = latest !== null;
    if (!latest) return;
    this.latest = null;
    const again = () => this.frame(() => this.#next());
    this.send(latest.value).then(again, again);
  }
}
