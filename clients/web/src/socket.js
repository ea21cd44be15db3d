/**
 * One live socket to the service: it reconnects, resumes, pairs requests with their answers, shows that somebody is
 * still holding, and keeps the service's clock. No DOM: sockets, timers, clock and chance are handed in.
 *
 * The caller must take `onWelcome` with `resumed: false` as "throw away everything", and `onState("stale")` as "nothing
 * shown can be trusted any more".
 *
 * @typedef {import("./types.js").Ok} Ok
 * @typedef {import("./types.js").Problem} Problem
 * @typedef {import("./types.js").Timers} Timers
 * @typedef {"connecting" | "live" | "stale"} LiveState
 */
import { ServiceClock } from "./service-clock.js";

export const FIRST_RETRY_MS_MAX = 400;
export const RETRY_MS_MAX = 1000;
export const HOLDING_EVERY_MS = 250;
/** An open socket that leaves a request unanswered for so long is taken for dead: the network may not tell us. */
export const ANSWER_MS_MAX = 4000;
export const WELCOME_MS_MAX = 4000;
/** A try that hangs in a network that swallows everything must not outlast the network's return. */
export const OPEN_MS_MAX = 1200;
/** After so long without a word the service is asked whether it is there; */
export const SILENCE_MS_MAX = 2000;
/** and after so long without a word to that, it is not: 3.8 s in all, so that a cut line is stale within 4 s. */
export const ALIVE_MS_MAX = 1800;
/** After so many failed tries the service is looked for by plain HTTP first: browsers slow down sockets that fail. */
const PROBE_FROM = 2;

/** The service refused a request; `problem` is its RFC 9457 object. */
export class Refusal extends Error {
  /** @param {Problem} problem */
  constructor(problem) {
    super(problem.detail || problem.title);
    this.name = "Refusal";
    this.problem = problem;
  }
}

/** The socket went away before the answer came: whether the request was carried out is shown by the next view. */
export class Lost extends Error {
  constructor() {
    super("The connection was lost before the answer came.");
    this.name = "Lost";
  }
}

/**
 * How long to wait before the next try: it doubles, is capped, and half of it is left to chance, so that a hundred
 * panels do not come back in the same instant.
 * @param {number} attempt  0 for the first
 * @param {() => number} random  within [0, 1)
 */
export function retryDelay(attempt, random) {
  const most = Math.min(RETRY_MS_MAX, FIRST_RETRY_MS_MAX * 2 ** attempt);
  return most / 2 + (random() * most) / 2;
}

/**
 * @typedef {object} SocketPort  The part of a WebSocket that is used.
 * @property {(text: string) => void} send
 * @property {(code?: number) => void} close
 * @property {((event: any) => void) | null} onopen
 * @property {((event: any) => void) | null} onclose
 * @property {((event: any) => void) | null} onmessage
 *
 * @typedef {object} PanelSocketOptions
 * @property {string} url                       ws: or wss:, without a query
 * @property {(url: string, protocol: string) => SocketPort} makeSocket
 * @property {() => number} now                 milliseconds that never go back
 * @property {Timers} timers
 * @property {() => number} [random]
 * @property {() => Promise<boolean>} [probe]   whether the service answers at all; it must settle within about a second
 * @property {(message: any) => void} [onWelcome]
 * @property {(message: any) => void} [onChange]
 * @property {(message: any) => void} [onLetGo]
 * @property {(message: any) => void} [onTrouble]
 * @property {(state: LiveState, why: string) => void} [onState]
 */
export class PanelSocket {
  /** @param {PanelSocketOptions} options */
  constructor(options) {
    this.options = options;
    this.clock = new ServiceClock(options.now);
    /** @type {LiveState} */
    this.state = "connecting";
    /** @type {number | null} the last journal position whose change was seen */
    this.seq = null;
    /** of which journal that position is: another one counts anew */
    this.journal = "";
    /** @type {SocketPort | null} */
    this.socket = null;
    this.attempt = 0;
    this.nextId = 1;
    this.stopped = false;
    this.probing = false;
    /** @type {Map<string | number, {resolve: (ok: Ok) => void, reject: (error: Error) => void, sentAt: number, timer: unknown}>} */
    this.waiting = new Map();
    /** @type {unknown} */
    this.retryTimer = null;
    /** @type {unknown} */
    this.welcomeTimer = null;
    /** @type {unknown} */
    this.holdingTimer = null;
    /** @type {unknown} */
    this.silenceTimer = null;
  }

  /** Opens the socket and keeps it open until `stop()`. */
  connect() {
    this.stopped = false;
    this.#clearTimer("retryTimer");
    if (this.socket || this.probing) return;
    const { probe } = this.options;
    if (!probe || this.attempt < PROBE_FROM) {
      this.#open();
      return;
    }
    this.probing = true;
    const seen = (/** @type {boolean} */ there) => {
      this.probing = false;
      if (this.stopped || this.socket) return;
      if (there) this.#open();
      else this.#lost("The service cannot be reached.");
    };
    probe().then(seen, () => seen(false));
  }

  #open() {
    const { url, makeSocket, timers } = this.options;
    const known = this.seq === null ? "" : `?after=${this.seq}&journal=${encodeURIComponent(this.journal)}`;
    const socket = makeSocket(url + known, "roomlink.v1");
    this.socket = socket;
    socket.onmessage = (event) => socket === this.socket && this.#receive(JSON.parse(String(event.data)));
    socket.onclose = () => socket === this.socket && this.#lost("The service cannot be reached.");
    this.welcomeTimer = timers.set(() => this.drop("The service cannot be reached."), OPEN_MS_MAX);
    socket.onopen = () => {
      if (socket !== this.socket || this.welcomeTimer === null) return;
      this.#clearTimer("welcomeTimer");
      this.welcomeTimer = timers.set(() => this.drop("The service does not answer."), WELCOME_MS_MAX);
    };
  }

  /** Closes for good. */
  stop() {
    this.stopped = true;
    this.drop("Closed.");
    this.#clearTimer("retryTimer");
  }

  /**
   * Gives the socket up now, without waiting for the network to notice, and tries again.
   * @param {string} why
   */
  drop(why) {
    const socket = this.socket;
    if (!socket) return;
    this.#lost(why);
    socket.close();
  }

  /** Tries again at once: for when the browser says that the network is back. */
  retryNow() {
    this.attempt = 0;
    if (!this.stopped) this.connect();
  }

  /**
   * Sends one request. Resolves with the service's `ok` (it is durable then); rejects with `Refusal` or `Lost`.
   * @param {Record<string, unknown>} body  without an id
   * @returns {Promise<Ok>}
   */
  request(body) {
    const socket = this.socket;
    if (!socket || this.state !== "live") return Promise.reject(new Lost());
    const id = this.nextId++;
    return new Promise((resolve, reject) => {
      const timer = this.options.timers.set(() => this.drop("The service does not answer."), ANSWER_MS_MAX);
      this.waiting.set(id, { resolve, reject, sentAt: this.options.now(), timer });
      socket.send(JSON.stringify({ ...body, id }));
    });
  }

  /**
   * While true, a sign of life goes out every 250 ms; without one the service lets go of everything held.
   * @param {boolean} held
   */
  setHolding(held) {
    if (held === (this.holdingTimer !== null)) return;
    if (!held) {
      this.#clearTimer("holdingTimer");
      return;
    }
    const beat = () => {
      if (this.state === "live") this.socket?.send('{"type":"holding"}');
      this.holdingTimer = this.options.timers.set(beat, HOLDING_EVERY_MS);
    };
    this.holdingTimer = this.options.timers.set(beat, HOLDING_EVERY_MS);
  }

  /** Waits for silence; then asks for a sign of life, whose answer also keeps the clock. */
  #listen() {
    const { now, timers } = this.options;
    this.#clearTimer("silenceTimer");
    this.silenceTimer = timers.set(() => {
      const id = this.nextId++;
      const nothing = () => {};
      this.waiting.set(id, { resolve: nothing, reject: nothing, sentAt: now(), timer: null });
      this.socket?.send(JSON.stringify({ type: "alive", id }));
      this.silenceTimer = timers.set(() => this.drop("The service does not answer."), ALIVE_MS_MAX);
    }, SILENCE_MS_MAX);
  }

  /** @param {any} message */
  #receive(message) {
    this.#listen();
    switch (message.type) {
      case "welcome":
        this.#clearTimer("welcomeTimer");
        this.attempt = 0;
        this.clock.roughly(message.at);
        // A resumed welcome brings nothing yet: were the socket lost before the change that follows, counting from
        // here would skip it.
        if (!message.resumed) {
          this.seq = message.seq;
          this.journal = message.journal ?? "";
        }
        this.#enter("live", "");
        this.options.onWelcome?.(message);
        return;
      case "change":
        this.seq = message.seq;
        this.options.onChange?.(message);
        return;
      case "ok":
        this.#answer(message.id, (wait) => {
          this.clock.measured(message.at, wait.sentAt);
          wait.resolve(message);
        });
        return;
      case "problem":
        this.#answer(message.id, (wait) => wait.reject(new Refusal(message.problem)));
        return;
      case "let-go":
        this.options.onLetGo?.(message);
        return;
      case "trouble":
        this.options.onTrouble?.(message);
        return;
      case "bye":
        // Who may not come in any more does not knock for ever.
        if (message.again === false) this.stopped = true;
        this.drop(message.again === false ? `Not let in any more: ${message.why}.` : message.why || "The service said goodbye.");
        return;
      default:
        // A newer service may say more than this panel understands.
        return;
    }
  }

  /**
   * @param {string | number | null} id
   * @param {(wait: {resolve: (ok: Ok) => void, reject: (error: Error) => void, sentAt: number}) => void} settle
   */
  #answer(id, settle) {
    const wait = id === null ? undefined : this.waiting.get(id);
    if (id === null || !wait) return;
    this.waiting.delete(id);
    this.options.timers.clear(wait.timer);
    settle(wait);
  }

  /** @param {string} why */
  #lost(why) {
    this.socket = null;
    this.#clearTimer("welcomeTimer");
    this.#clearTimer("holdingTimer");
    this.#clearTimer("silenceTimer");
    this.#enter("stale", why);
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    for (const wait of waiting) {
      this.options.timers.clear(wait.timer);
      wait.reject(new Lost());
    }
    if (this.stopped) return;
    const delay = retryDelay(this.attempt++, this.options.random ?? Math.random);
    this.#clearTimer("retryTimer");
    this.retryTimer = this.options.timers.set(() => this.connect(), delay);
  }

  /**
   * @param {LiveState} state
   * @param {string} why
   */
  #enter(state, why) {
    this.state = state;
    this.options.onState?.(state, why);
  }

  /** @param {"retryTimer" | "welcomeTimer" | "holdingTimer" | "silenceTimer"} name */
  #clearTimer(name) {
    if (this[name] !== null) this.options.timers.clear(this[name]);
    this[name] = null;
  }
}
