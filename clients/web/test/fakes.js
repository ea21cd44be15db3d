/** Time and sockets under the test's own hand. */

/** Virtual time: timers run only when it is moved on. */
export class VirtualTime {
  constructor() {
    this.ms = 0;
    this.next = 1;
    /** @type {Map<number, {at: number, run: () => void}>} */
    this.due = new Map();
    this.timers = {
      set: (/** @type {() => void} */ run, /** @type {number} */ ms) => {
        const handle = this.next++;
        this.due.set(handle, { at: this.ms + ms, run });
        return handle;
      },
      clear: (/** @type {number} */ handle) => void this.due.delete(handle),
    };
    this.now = () => this.ms;
  }

  /** @param {number} ms */
  pass(ms) {
    const end = this.ms + ms;
    for (;;) {
      const first = [...this.due].filter(([, each]) => each.at <= end).sort((a, b) => a[1].at - b[1].at || a[0] - b[0])[0];
      if (!first) break;
      this.due.delete(first[0]);
      this.ms = first[1].at;
      first[1].run();
    }
    this.ms = end;
  }
}

/** The service's end of the sockets that a panel opens. */
export class FakeService {
  constructor() {
    /** @type {{url: string, protocol: string, sent: any[], closed: boolean, onopen: any, onclose: any, onmessage: any, send: (text: string) => void, close: () => void}[]} */
    this.sockets = [];
    this.makeSocket = (/** @type {string} */ url, /** @type {string} */ protocol) => {
      const socket = {
        url,
        protocol,
        /** @type {any[]} */
        sent: [],
        closed: false,
        onopen: null,
        onclose: null,
        onmessage: null,
        send: (/** @type {string} */ text) => void socket.sent.push(JSON.parse(text)),
        close: () => void (socket.closed = true),
      };
      this.sockets.push(socket);
      return socket;
    };
  }

  /** The socket opened last. */
  get last() {
    const last = this.sockets[this.sockets.length - 1];
    if (!last) throw new Error("No socket was opened.");
    return last;
  }

  /** @param {Record<string, unknown>} message */
  say(message) {
    this.last.onmessage({ data: JSON.stringify(message) });
  }

  hangUp() {
    this.last.onclose({});
  }
}

/** Lets promises settle. */
export const settled = () => new Promise((resolve) => setImmediate(resolve));
