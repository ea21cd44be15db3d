import assert from "node:assert/strict";
import { test } from "node:test";
import {
  ALIVE_MS_MAX, ANSWER_MS_MAX, FIRST_RETRY_MS_MAX, Lost, OPEN_MS_MAX, PanelSocket, Refusal, RETRY_MS_MAX, retryDelay, SILENCE_MS_MAX,
  WELCOME_MS_MAX,
} from "../src/socket.js";
import { FakeService, settled, VirtualTime } from "./fakes.js";

const AT = "2026-11-25T19:42:00Z";

/** @param {Partial<import("../src/socket.js").PanelSocketOptions>} [more] */
function opened(more = {}) {
  const time = new VirtualTime();
  const service = new FakeService();
  /** @type {string[]} */
  const states = [];
  const socket = new PanelSocket({
    url: "ws://hall/api/v1/panels/heron-wall",
    makeSocket: service.makeSocket,
    now: time.now,
    timers: time.timers,
    random: () => 0.999,
    onState: (state) => void states.push(state),
    ...more,
  });
  socket.connect();
  return { time, service, socket, states };
}

test("a socket asks for the protocol by name and starts without a position", () => {
  const { service } = opened();
  assert.equal(service.last.protocol, "roomlink.v1");
  assert.equal(service.last.url, "ws://hall/api/v1/panels/heron-wall");
});

test("waiting starts short, doubles, is capped, and is half chance", () => {
  assert.ok(retryDelay(0, () => 0.999) <= 500);
  assert.equal(retryDelay(0, () => 0), FIRST_RETRY_MS_MAX / 2);
  assert.equal(retryDelay(1, () => 0), FIRST_RETRY_MS_MAX);
  assert.ok(retryDelay(50, () => 0.999) <= RETRY_MS_MAX);
});

test("a lost socket is stale at once and comes back asking for what it missed", () => {
  const { time, service, states } = opened();
  service.say({ type: "welcome", seq: 812, at: AT, resumed: false, journal: "a1" });
  service.say({ type: "change", seq: 815, at: AT });
  service.hangUp();
  assert.deepEqual(states, ["live", "stale"]);
  time.pass(FIRST_RETRY_MS_MAX);
  assert.equal(service.sockets.length, 2);
  assert.equal(service.last.url, "ws://hall/api/v1/panels/heron-wall?after=815&journal=a1");
});

test("a resumed welcome does not count as having seen what it announces", () => {
  const { time, service } = opened();
  service.say({ type: "welcome", seq: 812, at: AT, resumed: false, journal: "a1" });
  service.hangUp();
  time.pass(FIRST_RETRY_MS_MAX);
  service.say({ type: "welcome", seq: 900, at: AT, resumed: true, journal: "a1" });
  service.hangUp();
  time.pass(FIRST_RETRY_MS_MAX);
  assert.match(service.last.url, /after=812&journal=a1$/);
});

test("an answer reaches the request that it belongs to", async () => {
  const { service, socket } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  const first = socket.request({ type: "link", zone: "heron" });
  const second = socket.request({ type: "link", zone: "plover" });
  assert.deepEqual(service.last.sent.map((each) => each.id), [1, 2]);
  service.say({ type: "problem", id: 2, problem: { type: "/problems/locked", title: "Locked", status: 409, detail: "The lead is in charge." } });
  service.say({ type: "ok", id: 1, seq: 2, zones: ["heron"], at: AT });
  assert.equal((await first).seq, 2);
  await assert.rejects(second, (error) => error instanceof Refusal && error.message === "The lead is in charge." && error.problem.status === 409);
});

test("requests in flight are lost with the socket, and none starts before a welcome", async () => {
  const { service, socket } = opened();
  await assert.rejects(socket.request({ type: "unlink-all" }), Lost);
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  const request = socket.request({ type: "unlink-all" });
  service.hangUp();
  await assert.rejects(request, Lost);
});

test("a request left unanswered takes the socket for dead", async () => {
  const { time, service, socket, states } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  const request = socket.request({ type: "unlink-all" });
  const rejected = assert.rejects(request, Lost);
  time.pass(ANSWER_MS_MAX);
  await rejected;
  assert.equal(service.sockets[0]?.closed, true);
  assert.deepEqual(states, ["live", "stale"]);
});

test("a socket that opens without a welcome is given up", () => {
  const { time, service } = opened();
  service.last.onopen({});
  time.pass(WELCOME_MS_MAX - 1);
  assert.equal(service.sockets[0]?.closed, false);
  time.pass(1);
  assert.equal(service.sockets[0]?.closed, true);
  time.pass(RETRY_MS_MAX);
  assert.equal(service.sockets.length, 2);
});

test("signs of life go out every 250 ms while something is held, and at no other time", () => {
  const { time, service, socket } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  time.pass(SILENCE_MS_MAX - 1);
  assert.equal(service.last.sent.length, 0);
  service.say({ type: "change", seq: 2, at: AT });
  socket.setHolding(true);
  socket.setHolding(true);
  time.pass(1000);
  assert.deepEqual(service.last.sent, Array(4).fill({ type: "holding" }));
  socket.setHolding(false);
  time.pass(SILENCE_MS_MAX - 1001);
  assert.equal(service.last.sent.length, 4);
});

test("what a dead socket still says is not heard", () => {
  /** @type {number[]} */
  const seen = [];
  const { time, service } = opened({ onChange: (message) => void seen.push(message.seq) });
  const old = service.last;
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  service.hangUp();
  time.pass(FIRST_RETRY_MS_MAX);
  old.onmessage({ data: JSON.stringify({ type: "change", seq: 2, at: AT }) });
  assert.deepEqual(seen, []);
});

test("the network's return is used at once, and stopping is for good", async () => {
  const { time, service, socket } = opened();
  service.hangUp();
  socket.retryNow();
  assert.equal(service.sockets.length, 2);
  socket.stop();
  time.pass(60_000);
  await settled();
  assert.equal(service.sockets.length, 2);
});

test("the service's clock is put right by half the round trip", () => {
  const { time, service, socket } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  time.pass(1000);
  void socket.request({ type: "unlink-all" });
  time.pass(80);
  // The service stamped the order 40 ms after it was sent, 500 ms ahead of what the welcome made us believe.
  service.say({ type: "ok", id: 1, seq: 2, zones: [], at: new Date(Date.parse(AT) + 1000 + 540).toISOString() });
  assert.equal(socket.clock.now(), Date.parse(AT) + 1080 + 500);
});

test("a line that is cut without a word is stale within 4 seconds", () => {
  const { time, service, states } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  time.pass(SILENCE_MS_MAX);
  assert.deepEqual(service.last.sent, [{ type: "alive", id: 1 }]);
  time.pass(ALIVE_MS_MAX - 1);
  assert.deepEqual(states, ["live"]);
  time.pass(1);
  assert.deepEqual(states, ["live", "stale"]);
  assert.ok(SILENCE_MS_MAX + ALIVE_MS_MAX < 4000);
});

test("a quiet service is asked every 2 seconds, and its answers keep the panel live and the clock right", () => {
  const { time, service, socket, states } = opened();
  service.say({ type: "welcome", seq: 1, at: AT, resumed: false });
  for (let id = 1; id <= 5; id++) {
    time.pass(SILENCE_MS_MAX);
    // 50 ms a second faster than the local clock.
    service.say({ type: "ok", id, seq: 1, at: new Date(Date.parse(AT) + 2100 * id).toISOString() });
  }
  assert.deepEqual(states, ["live"]);
  assert.deepEqual(service.last.sent.map((each) => each.type), Array(5).fill("alive"));
  assert.equal(socket.clock.now(), Date.parse(AT) + 2100 * 5);
  assert.equal(socket.waiting.size, 0);
});

test("after a silent cut the next try starts within 3 seconds of the network's return, whenever it returns", () => {
  const { time, service } = opened();
  // All tries hang: nothing answers, nothing closes.
  time.pass(60_000);
  const before = service.sockets.length;
  time.pass(OPEN_MS_MAX + RETRY_MS_MAX);
  assert.ok(service.sockets.length > before);
  assert.ok(OPEN_MS_MAX + RETRY_MS_MAX < 3000);
});

test("after two failed tries the service is looked for by plain HTTP before a socket is spent on it", async () => {
  let there = false;
  let asked = 0;
  const { time, service } = opened({ probe: async () => (asked++, there) });
  service.hangUp();
  time.pass(FIRST_RETRY_MS_MAX);
  service.hangUp();
  for (let i = 0; i < 10; i++) {
    time.pass(RETRY_MS_MAX);
    await settled();
  }
  assert.equal(service.sockets.length, 2);
  assert.ok(asked >= 9);
  there = true;
  time.pass(RETRY_MS_MAX);
  await settled();
  assert.equal(service.sockets.length, 3);
});

test("who is not let in any more does not knock again", () => {
  /** @type {string[]} */
  const whys = [];
  const { time, service, socket } = opened({ onState: (_, why) => void whys.push(why) });
  service.say({ type: "welcome", seq: 812, at: AT, resumed: false, journal: "a1" });
  service.say({ type: "bye", why: "taken back by alex", again: false });
  time.pass(60_000);
  socket.retryNow();
  time.pass(60_000);
  assert.equal(service.sockets.length, 1);
  assert.equal(whys.at(-1), "Not let in any more: taken back by alex.");
});
