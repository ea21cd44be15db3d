import assert from "node:assert/strict";
import { test } from "node:test";
import { Session } from "../src/session.js";
import { FakeService, settled, VirtualTime } from "./fakes.js";

const AT = "2026-11-25T19:42:00Z";
/** @type {any} */
const VENUE = {
  venue: { id: "tidewater", name: "Tidewater Hall", timezone: "UTC" },
  zones: { heron: { name: "Heron", type: "section", controls: { volume: { kind: "level", name: "", section: "sound", unit: "dB", range: [-60, 0] } } } },
  partitions: {},
  controllers: { "heron-wall": { name: "", home: "heron", reach: null } },
  scenes: {},
};

/** @param {string} [controller] */
async function started(controller = "heron-wall") {
  const time = new VirtualTime();
  const service = new FakeService();
  let fetched = 0;
  const session = new Session({
    socketUrl: "ws://hall/panels/heron-wall",
    controller,
    fetchVenue: async () => (fetched++, VENUE),
    makeSocket: service.makeSocket,
    now: time.now,
    timers: time.timers,
  });
  session.start();
  const welcome = { type: "welcome", seq: 5, at: AT, resumed: false, controller: { links: [], lead: false, locked: null, controls: {} } };
  service.say(welcome);
  await settled();
  return { time, service, session, welcome, fetched: () => fetched };
}

test("a session is live with a welcome and a venue that knows its controller", async () => {
  assert.equal((await started()).session.live, true);
  const { session } = await started("nobody");
  assert.equal(session.live, false);
  assert.match(session.venueTrouble, /no panel named nobody/);
});

test("a fresh welcome fetches the place again, a resumed one does not", async () => {
  const { service, fetched, welcome } = await started();
  const before = fetched();
  service.say({ type: "welcome", seq: 6, at: AT, resumed: true });
  assert.equal(fetched(), before);
  service.say({ ...welcome, seq: 7 });
  assert.equal(fetched(), before + 1);
});

test("a scene saved since is there without fetching the place again, and a fetch on its way does not undo it", async () => {
  const { service, session, fetched, welcome } = await started();
  const scenes = { late: { name: "Late", type: null, zone: "heron", zones: ["heron"] } };
  service.say({ ...welcome, seq: 6 });
  service.say({ type: "change", seq: 7, at: AT, scenes });
  const before = fetched();
  await settled();
  assert.deepEqual(session.venue?.scenes, scenes);
  assert.equal(fetched(), before);
  service.say({ ...welcome, seq: 8 });
  await settled();
  assert.deepEqual(session.venue?.scenes, {});
});

test("a hold presses, shows signs of life and releases", async () => {
  const { time, service, session } = await started();
  const letGo = session.hold("talkback", "press", () => {}, () => {});
  time.pass(600);
  letGo();
  assert.deepEqual(service.last.sent.map((each) => each.do ?? each.type), ["press", "holding", "holding", "release"]);
});

test("a refused hold ends by itself and says why", async () => {
  const { service, session } = await started();
  /** @type {unknown[]} */
  const heard = [];
  session.hold("volume", "raise", (why) => void heard.push(["ended", why]), (error) => void heard.push(String(error)));
  service.say({ type: "problem", id: 1, problem: { type: "/locked", title: "Locked", status: 409 } });
  await settled();
  assert.deepEqual(heard, [["ended", ""], "Refusal: Locked"]);
});

test("a lost socket lets go of everything and says so", async () => {
  const { service, session } = await started();
  /** @type {string[]} */
  const ended = [];
  session.hold("volume", "raise", (why) => void ended.push(why), () => {});
  service.hangUp();
  await settled();
  assert.equal(ended.length, 1);
  assert.match(String(ended[0]), /connection was lost/);
  assert.equal(session.live, false);
});

test("what the service let go of ends here without a stop being sent", async () => {
  const { service, session } = await started();
  /** @type {string[]} */
  const ended = [];
  session.hold("volume", "raise", (why) => void ended.push(why), () => {});
  service.say({ type: "let-go", control: "volume", zones: ["heron"], why: "Another panel moved it." });
  assert.deepEqual(ended, ["Another panel moved it."]);
  assert.deepEqual(service.last.sent.map((each) => each.do), ["raise"]);
});

test("a control is described by the home zone first", async () => {
  const { session } = await started();
  assert.equal(session.spec("volume")?.unit, "dB");
  assert.equal(session.spec("organ"), undefined);
});

test("what is disarmed is asked for at a welcome, and again only while something is", async () => {
  const time = new VirtualTime();
  const service = new FakeService();
  /** @type {any} */
  let bindings = { "heron.volume": { class: "power", device: "amps", control: "heron.volume", armed: null } };
  let asked = 0;
  const session = new Session({
    socketUrl: "ws://hall/panels/heron-wall",
    controller: "heron-wall",
    fetchVenue: async () => VENUE,
    makeSocket: service.makeSocket,
    now: time.now,
    timers: time.timers,
    ask: async () => (asked++, { bindings }),
  });
  session.start();
  const link = { zone: "heron", by: "home", reasons: ["home"], since: AT, pickup: [] };
  service.say({ type: "welcome", seq: 5, at: AT, resumed: false, controller: { links: [link], lead: false, locked: null, controls: {} } });
  await settled();
  assert.deepEqual(session.disarmedIn("volume"), ["heron"]);
  bindings = { "heron.volume": { ...bindings["heron.volume"], armed: { who: "A. Technician" } } };
  time.pass(30_000);
  await settled();
  assert.deepEqual(session.disarmedIn("volume"), []);
  assert.equal(asked, 2);
  time.pass(120_000);
  await settled();
  assert.equal(asked, 2);
});

test("what the service says of itself is known until it is over, and to those who come meanwhile", async () => {
  const { service, session, welcome } = await started();
  assert.equal(session.serviceTrouble, "");
  service.say({ type: "trouble", why: "Nothing can be stored just now." });
  assert.equal(session.serviceTrouble, "Nothing can be stored just now.");
  assert.equal(session.live, true);
  service.say({ type: "trouble", why: "" });
  assert.equal(session.serviceTrouble, "");
  service.say({ ...welcome, seq: 9, trouble: "Nothing can be stored just now." });
  assert.equal(session.serviceTrouble, "Nothing can be stored just now.");
});
