/**
 * The service's clock as far as a browser can tell: panel clocks are wrong by minutes, and ramps are drawn from it.
 * A request and its answer bound the error by half the round trip, so the shortest of the recent trips is believed.
 */
const SAMPLES_KEPT = 8;

export class ServiceClock {
  /** @param {() => number} now  local milliseconds that never go back */
  constructor(now) {
    this.local = now;
    /** @type {{offset: number, trip: number}[]} */
    this.samples = [];
  }

  /**
   * A stamp of unknown age, from a welcome. It starts afresh: the local clock may have slept.
   * @param {string} at  RFC 3339
   */
  roughly(at) {
    const stamp = Date.parse(at);
    if (Number.isNaN(stamp)) return;
    this.samples = [{ offset: stamp - this.local(), trip: Infinity }];
  }

  /**
   * A stamp made between `sentAt` and now.
   * @param {string} at  RFC 3339
   * @param {number} sentAt  local milliseconds
   */
  measured(at, sentAt) {
    const stamp = Date.parse(at);
    if (Number.isNaN(stamp)) return;
    const received = this.local();
    this.samples.push({ offset: stamp - (sentAt + received) / 2, trip: received - sentAt });
    if (this.samples.length > SAMPLES_KEPT) this.samples.shift();
  }

  /** The service's time now, in milliseconds since 1970; the local clock's before anything was heard. */
  now() {
    const best = this.samples.reduce((a, b) => (b.trip <= a.trip ? b : a), { offset: 0, trip: Infinity });
    return this.local() + best.offset;
  }
}
