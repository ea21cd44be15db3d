/**
 * One panel's (or watcher's) life with the service: venue, view, socket, holds and what was asked, in one object that
 * every element of the page shares. No DOM: the ports are handed in.
 *
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {import("./types.js").Spec} Spec
 * @typedef {import("./types.js").Feedback} Feedback
 * @typedef {import("./types.js").Ok} Ok
 * @typedef {import("./types.js").Timers} Timers
 *
 * @typedef {object} SessionPorts
 * @property {string} socketUrl                   ws: or wss:
 * @property {string | null} controller           null to watch everything and act on nothing
 * @property {() => Promise<Venue>} fetchVenue    rejects with words for a person
 * @property {import("./socket.js").PanelSocketOptions["makeSocket"]} makeSocket
 * @property {() => number} now
 * @property {Timers} timers
 * @property {import("./socket.js").PanelSocketOptions["probe"]} [probe]
 * @property {(path: string, put?: Record<string, unknown>, method?: string) => Promise<any>} [ask]   GET, or PUT where a body is given, of a path
 *                                                below `/api/v1/`; rejects where it is refused
 */
import { Asked } from "./asked.js";
import { commonSpec } from "./compose.js";
import { disarmedOf } from "./disarmed.js";
import { Holds } from "./holds.js";
import { overrideOver } from "./overrides.js";
import { PanelSocket } from "./socket.js";
import { Store } from "./store.js";

const VENUE_AGAIN_MS = 3000;
/** So often it is asked whether what is disarmed has been armed. */
const ARMING_AGAIN_MS = 30_000;

export class Session {
  /** @param {SessionPorts} ports */
  constructor(ports) {
    this.ports = ports;
    this.controller = ports.controller;
    this.store = new Store(ports.controller);
    this.asked = new Asked((control) => this.store.touch(`control:${control}`), ports.timers);
    this.socket = new PanelSocket({
      url: ports.socketUrl,
      makeSocket: ports.makeSocket,
      now: ports.now,
      timers: ports.timers,
      probe: ports.probe,
      onWelcome: (message) => this.#welcomed(message),
      onChange: (message) => {
        this.store.change(message);
        if (message.scenes && this.venue) this.#place(this.venue);
        this.asked.caughtUp(message.seq);
      },
      onLetGo: (message) => this.holds.endControl(message.control, message.why || "The service let go."),
      onTrouble: (message) => this.#troubled(message.why),
      onState: (state, why) => this.#stateChanged(state, why),
    });
    this.holds = new Holds((any) => this.socket.setHolding(any));
    /** @type {Venue | null} */
    this.venue = null;
    /** @type {unknown} addresses of other nodes that serve the venue */
    this.nodes = [];
    /**
     * What another place of the page says for all controls, so that not each need say it
     * @type {Set<"standing" | "overrides">}
     */
    this.saidOnce = new Set();
    /** @type {Set<string>} `zone.control` of what feeds power or motion and is not armed */
    this.disarmed = new Set();
    /** counts the rounds of asking, so that a new welcome ends the old one */
    this.arming = 0;
    /** why nothing can be shown or done, in words; empty when all is well */
    this.trouble = "Connecting.";
    this.venueTrouble = "";
    /** what the service says of itself, beside what it serves; empty when all is well */
    this.serviceTrouble = "";
    this.stopped = false;
  }

  start() {
    this.stopped = false;
    void this.#loadVenue();
    this.socket.connect();
  }

  stop() {
    this.stopped = true;
    this.holds.endAll("");
    this.socket.stop();
  }

  /** Whether what is shown is known to be current. */
  get live() {
    return this.socket.state === "live" && this.venue !== null && this.venueTrouble === "";
  }

  /** Whether nobody is let in with what this browser has: it tries no more, and somebody has to come in anew. */
  get out() {
    return this.socket.stopped && !this.stopped;
  }

  /** Whether it comes right by itself: the service is away, rather than unable to show this panel. */
  get waits() {
    return this.socket.state !== "connecting" && (this.venue === null || this.venueTrouble === "");
  }

  /**
   * The override that refuses orders in the linked zones now, if any does.
   * @returns {string | null}
   */
  get overridden() {
    return overrideOver(this.store.view.overrides, this.store.face);
  }

  /** The home zone of the panel's controller. */
  get home() {
    return this.controller === null ? null : this.venue?.controllers[this.controller]?.home ?? null;
  }

  /** The service's time now, in milliseconds since 1970. */
  serviceNow() {
    return this.socket.clock.now();
  }

  /**
   * What a control is in the linked zones together; without links, as the home zone has it, else as any.
   * @param {string} control
   * @returns {Spec | undefined}
   */
  spec(control) {
    const { venue } = this;
    if (!venue) return undefined;
    const { home } = this;
    const linked = this.store.face.links.map((link) => link.zone);
    /** @param {string[]} zones */
    const specs = (zones) => zones.flatMap((id) => venue.zones[id]?.controls[control] ?? []);
    return commonSpec(specs(linked)) ?? specs([...(home ? [home] : []), ...Object.keys(venue.zones)])[0];
  }

  /**
   * @param {string} control
   * @returns {Feedback | undefined}
   */
  feedback(control) {
    return this.store.face.controls[control];
  }

  /** The linked zones that this control reaches: combining alone does not carry what is local. @param {string} control */
  zonesOf(control) {
    const reached = this.store.face.links.filter(({ zone, reasons }) => {
      const spec = this.venue?.zones[zone]?.controls[control];
      return spec && !(spec.scope === "local" && reasons.every((reason) => reason === "combining"));
    });
    return reached.map((link) => link.zone);
  }

  /** The linked zones where this control feeds power or motion and is not armed. @param {string} control */
  disarmedIn(control) {
    return this.zonesOf(control).filter((zone) => this.disarmed.has(`${zone}.${control}`));
  }

  /**
   * Reads something that the socket does not tell.
   * @param {string} path  below `/api/v1/`
   * @returns {Promise<any>}
   */
  ask(path) {
    return this.ports.ask ? this.ports.ask(path) : Promise.reject(new Error("This page cannot ask the service."));
  }

  /**
   * Writes something that the socket does not take.
   * @param {string} path  below `/api/v1/`
   * @param {Record<string, unknown>} body
   * @returns {Promise<any>}
   */
  put(path, body) {
    return this.ports.ask ? this.ports.ask(path, body) : Promise.reject(new Error("This page cannot write to the service."));
  }

  /**
   * Has something done that the socket does not take.
   * @param {string} path  below `/api/v1/`
   * @param {Record<string, unknown>} body
   * @returns {Promise<any>}
   */
  post(path, body) {
    return this.ports.ask ? this.ports.ask(path, body, "POST") : Promise.reject(new Error("This page cannot write to the service."));
  }

  /**
   * Acts on a control in every linked zone.
   * @param {string} control
   * @param {Record<string, unknown>} order  `do`, and `value` and `over` where they apply
   * @param {unknown} [asked]  what to show as asked until it is seen
   * @returns {Promise<Ok>}
   */
  act(control, order, asked) {
    const answer = this.socket.request({ type: "act", control, ...order });
    return asked === undefined ? answer : this.asked.put(control, asked, answer);
  }

  /**
   * Starts something held; the returned function lets go, and so does anything that ends holds.
   * @param {string} control
   * @param {"press" | "raise" | "lower" | "open" | "close"} begin
   * @param {(why: string) => void} ended   `why` is empty when the holder let go
   * @param {(error: unknown) => void} refused
   * @returns {() => void}
   */
  hold(control, begin, ended, refused) {
    const end = begin === "press" ? "release" : "stop";
    const letGo = this.holds.start(control, (why, tell) => {
      // A release that cannot be sent needs none: a lost socket lets go by itself.
      if (tell) this.act(control, { do: end }).catch(() => {});
      ended(why);
    });
    this.act(control, { do: begin }).catch((error) => {
      letGo();
      refused(error);
    });
    return () => letGo();
  }

  /** @param {import("./types.js").Welcome} message */
  #welcomed(message) {
    this.store.welcome(message);
    this.nodes = message.nodes ?? [];
    this.#troubled(message.trouble ?? "");
    void this.#lookAtArming(++this.arming);
    if (message.resumed) return;
    this.asked.caughtUp(message.seq);
    // After a reload of the configuration the place itself may have changed.
    void this.#loadVenue();
  }

  async #loadVenue() {
    if (this.stopped) return;
    try {
      const venue = await this.ports.fetchVenue();
      this.#place(venue);
      const known = this.controller === null || this.controller in venue.controllers;
      this.venueTrouble = known ? "" : `There is no panel named ${this.controller} here.`;
    } catch (error) {
      // With a venue in hand a failed fetch is only a late one: the socket says whether the service is there.
      if (this.venue === null) {
        this.venueTrouble = error instanceof Error ? error.message : String(error);
        this.ports.timers.set(() => void this.#loadVenue(), VENUE_AGAIN_MS);
      }
    }
    this.store.touchAll();
  }

  /**
   * Once a welcome, and again while something is disarmed.
   * @param {number} round
   */
  async #lookAtArming(round) {
    if (this.stopped || this.controller === null || !this.ports.ask || round !== this.arming) return;
    try {
      const found = disarmedOf((await this.ask("bindings")).bindings ?? {});
      const same = found.size === this.disarmed.size && [...found].every((each) => this.disarmed.has(each));
      if (round !== this.arming) return;
      this.disarmed = found;
      if (!same) this.store.touchAll();
    } catch {
      // The socket says whether the service is there; what was known stands until it answers.
    }
    if (this.disarmed.size > 0) this.ports.timers.set(() => void this.#lookAtArming(round), ARMING_AGAIN_MS);
  }

  /** @param {Venue} fetched */
  #place(fetched) {
    // A scene saved after the welcome may be newer than what was fetched.
    const venue = { ...fetched, scenes: this.store.scenes ?? fetched.scenes };
    // The same place again is no news: who draws by it need not draw anew.
    if (JSON.stringify(venue) === JSON.stringify(this.venue)) return;
    this.venue = venue;
    this.store.touchAll();
  }

  /** @param {string} why */
  #troubled(why) {
    if (why === this.serviceTrouble) return;
    this.serviceTrouble = why;
    this.store.touchAll();
  }

  /**
   * @param {import("./socket.js").LiveState} state
   * @param {string} why
   */
  #stateChanged(state, why) {
    this.trouble = state === "live" ? "" : why;
    if (state === "stale") this.holds.endAll("The connection was lost, so it was let go.");
    this.store.touchAll();
  }
}
