/**
 * `<rl-connection controller="heron-wall">`: one socket, shared by every element inside. With `watch` it sees every zone
 * and acts on nothing. `base` is the service's address, where it is not the page's own.
 */
import { sentence } from "../src/entry.js";
import { moveOn, others } from "../src/nodes.js";
import { Session } from "../src/session.js";
import { SESSION_EVENT } from "./base.js";

/** @type {import("../src/types.js").Timers} */
const timers = { set: (run, ms) => window.setTimeout(run, ms), clear: (handle) => window.clearTimeout(handle) };

const PROBE_MS_MAX = 1200;

/** Milliseconds that do not jump when the computer's clock is put right. */
const now = () => performance.timeOrigin + performance.now();

/** @type {import("../src/nodes.js").NodePorts} */
const ELSEWHERE = {
  // What it says may not be read from here; that it says something is enough.
  answers: (address) => answers(new URL("/healthz", address)),
  move: (address) => location.replace(address + location.pathname + location.search),
};

export class RlConnection extends HTMLElement {
  static observedAttributes = ["controller", "watch", "base"];

  constructor() {
    super();
    /** @type {Session | null} */
    this.session = null;
    /** @type {AbortController | null} */
    this.listening = null;
  }

  connectedCallback() {
    if (!this.style.display) this.style.display = "contents";
    this.#start();
  }

  disconnectedCallback() {
    this.#stop();
  }

  attributeChangedCallback() {
    if (this.isConnected && this.session) this.#start();
  }

  /** The controller shown: the attribute, else the last part of the page's address. */
  get controller() {
    return this.getAttribute("controller") ?? decodeURIComponent(location.pathname.split("/").filter(Boolean).pop() ?? "");
  }

  /** The service's HTTP base, ending in `/api/v1/`. */
  get api() {
    return new URL("/api/v1/", new URL(this.getAttribute("base") ?? "/", location.href));
  }

  #start() {
    this.#stop();
    const watching = this.hasAttribute("watch");
    const socketUrl = new URL(watching ? "watch" : `panels/${encodeURIComponent(this.controller)}`, this.api);
    socketUrl.protocol = socketUrl.protocol === "https:" ? "wss:" : "ws:";
    const session = new Session({
      socketUrl: socketUrl.href,
      controller: watching ? null : this.controller,
      fetchVenue: () => fetchVenue(new URL("venue", this.api)),
      makeSocket: (url, protocol) => new WebSocket(url, protocol),
      now,
      timers,
      probe: async () => {
        if (await answers(new URL("/healthz", this.api))) return known(new URL("session", this.api));
        await moveOn(others(session.nodes, location.origin), ELSEWHERE);
        return false;
      },
      ask: (path, put, method) => ask(new URL(path, this.api), put, method),
    });
    this.session = session;
    this.listening = new AbortController();
    const { signal } = this.listening;
    const letGo = () => session.holds.endAll("");
    addEventListener("blur", letGo, { signal });
    addEventListener("pagehide", letGo, { signal });
    document.addEventListener("visibilitychange", () => document.hidden && letGo(), { signal });
    addEventListener("offline", () => session.socket.drop("This device is off the network."), { signal });
    addEventListener("online", () => session.socket.retryNow(), { signal });
    session.start();
    this.dispatchEvent(new CustomEvent(SESSION_EVENT));
  }

  #stop() {
    this.listening?.abort();
    this.session?.stop();
    this.session = null;
  }
}

/**
 * Whether the service answers at all; what it answers does not matter, so another origin's may be asked too.
 * @param {URL} url
 */
async function answers(url) {
  const found = await fetch(url, { mode: "no-cors", cache: "no-store", signal: AbortSignal.timeout(PROBE_MS_MAX) }).catch(() => null);
  return found !== null;
}

/**
 * Whether the service still knows who this is. Where it does not, the page is asked for anew, and leads to the sign-in.
 * @param {URL} url
 */
async function known(url) {
  if (url.origin !== location.origin) return true;
  const found = await fetch(url, { cache: "no-store", signal: AbortSignal.timeout(PROBE_MS_MAX) }).then((answer) => answer.json(), () => null);
  if (found?.kind === "nobody") location.reload();
  return found?.kind !== "nobody";
}

/** @param {URL} url @param {Record<string, unknown>} [put] @param {string} [method] @returns {Promise<any>} */
async function ask(url, put, method = "PUT") {
  const headers = { accept: "application/json" };
  const how = put ? { method, headers: { ...headers, "content-type": "application/json" }, body: JSON.stringify(put) } : { headers };
  const answer = await fetch(url, how).catch(() => {
    throw new Error("The service cannot be reached.");
  });
  const body = await answer.json().catch(() => ({ type: "about:blank", title: `The service answered ${answer.status}.` }));
  if (!answer.ok) throw Object.assign(new Error(body.title), { problem: body });
  return body;
}

/** @param {URL} url */
async function fetchVenue(url) {
  const answer = await fetch(url, { headers: { accept: "application/json" } }).catch(() => {
    throw new Error("The service cannot be reached.");
  });
  if (answer.status === 401) throw new Error("Sign in to use this panel.");
  if (answer.status === 403) throw new Error(sentence((await answer.json()).detail ?? "This panel may not be used from here"));
  if (!answer.ok) throw new Error(`The service answered ${answer.status} ${answer.statusText}.`);
  return answer.json();
}
