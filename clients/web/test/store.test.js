import assert from "node:assert/strict";
import { test } from "node:test";
import { Store } from "../src/store.js";

/** @typedef {import("../src/types.js").Welcome} Welcome */
/** @typedef {import("../src/types.js").Feedback} Feedback */

const AT = "2026-11-25T19:42:00Z";
/** @type {Feedback} */
const VOLUME = { kind: "level", value: -30, decided: true, mixed: false, outliers: [], moving: null };
/** @type {Feedback} */
const MUTE = { kind: "switch", value: true, decided: true, mixed: false, outliers: [], pending: null };

/** @returns {Welcome} */
function welcome() {
  return {
    type: "welcome",
    seq: 812,
    at: AT,
    resumed: false,
    controller: { controller: "heron-wall", links: [], lead: false, locked: null, controls: { volume: VOLUME, mute: MUTE } },
    zones: { heron: { group: ["heron"], linked_by: [] }, plover: { group: ["plover"], linked_by: ["plover-wall"] } },
    partitions: { "heron-plover": { position: "closed", trust: "sensed", flagged: false, joins: false, reported: null, pinned_until: null } },
    groups: [["heron"], ["plover"]],
  };
}

/** @param {string | null} [controller] */
function store(controller = "heron-wall") {
  /** @type {(() => void)[]} */
  const later = [];
  const made = new Store(controller, (run) => void later.push(run));
  return { store: made, flush: () => later.splice(0).forEach((run) => run()) };
}

test("with its links come all controls of a face: what no linked zone has any more goes", () => {
  const { store: s } = store();
  s.welcome(welcome());
  s.change({ type: "change", seq: 813, at: AT, controller: { links: [], controls: { mute: MUTE } } });
  assert.deepEqual(Object.keys(s.face.controls), ["mute"]);
  s.change({ type: "change", seq: 814, at: AT, controller: { links: [] } });
  assert.deepEqual(s.face.controls, {});
});

test("who leads is told with the groups, and goes with them", () => {
  const { store: s } = store();
  s.welcome({ ...welcome(), groups: [["heron", "plover"]], leads: { heron: "plover-wall" } });
  assert.deepEqual(s.view.leads, { heron: "plover-wall" });
  s.change({ type: "change", seq: 813, at: AT, groups: [["heron"], ["plover"]], leads: {} });
  assert.deepEqual(s.view.leads, {});
});

test("a welcome replaces all, and a change only what it names", () => {
  const { store: s } = store();
  s.welcome(welcome());
  s.change({ type: "change", seq: 813, at: AT, controller: { lead: true, controls: { mute: { ...MUTE, value: false } } }, zones: { heron: { linked_by: ["heron-wall"] } } });
  assert.equal(s.face.lead, true);
  assert.equal(s.face.controls.mute?.value, false);
  assert.equal(s.face.controls.volume?.value, -30);
  assert.deepEqual(s.view.zones.heron, { group: ["heron"], linked_by: ["heron-wall"] });
  assert.deepEqual(s.view.zones.plover?.linked_by, ["plover-wall"]);
  assert.equal(s.seq, 813);
  s.welcome({ ...welcome(), seq: 820, partitions: {}, zones: {} });
  assert.deepEqual(s.view.zones, {});
  assert.equal(s.face.lead, false);
});

test("a control's feedback is replaced whole, never merged member by member", () => {
  const { store: s } = store();
  s.welcome(welcome());
  s.change({ type: "change", seq: 813, at: AT, controller: { controls: { volume: { kind: "level", value: -20 } } } });
  assert.deepEqual(s.face.controls.volume, { kind: "level", value: -20 });
});

test("a resumed welcome leaves the view as it was", () => {
  const { store: s } = store();
  s.welcome(welcome());
  s.welcome({ type: "welcome", seq: 900, at: AT, resumed: true });
  assert.equal(s.face.controls.volume?.value, -30);
  assert.equal(s.seq, 812);
});

test("groups and walls are taken whole", () => {
  const { store: s } = store();
  s.welcome(welcome());
  const open = { position: /** @type {const} */ ("open"), trust: /** @type {const} */ ("sensed"), flagged: false, joins: true, reported: null, pinned_until: null };
  s.change({ type: "change", seq: 813, at: AT, partitions: { "heron-plover": open }, groups: [["heron", "plover"]] });
  assert.deepEqual(s.view.partitions["heron-plover"], open);
  assert.deepEqual(s.view.groups, [["heron", "plover"]]);
});

test("a zone's group is the one that has it, and only zones whose group changed are told", () => {
  const { store: s, flush } = store();
  const { zones, ...rest } = welcome();
  s.welcome({ ...rest, zones: { heron: { linked_by: [] }, plover: { linked_by: [] }, tern: { linked_by: [] } }, groups: [["heron"], ["plover"], ["tern"]] });
  flush();
  assert.deepEqual(s.view.zones.plover?.group, ["plover"]);
  /** @type {string[]} */
  const told = [];
  for (const id of ["heron", "plover", "tern"]) s.subscribe([`zone:${id}`], () => void told.push(id));
  s.change({ type: "change", seq: 813, at: AT, zones: { plover: { linked_by: ["heron-wall"] } }, groups: [["heron", "plover"], ["tern"]] });
  flush();
  assert.deepEqual(s.view.zones.heron?.group, ["heron", "plover"]);
  assert.deepEqual(s.view.zones.plover, { group: ["heron", "plover"], linked_by: ["heron-wall"] });
  assert.deepEqual(told.sort(), ["heron", "plover"]);
});

test("a listener is called once a batch, and only for its topics", () => {
  const { store: s, flush } = store();
  s.welcome(welcome());
  flush();
  let volume = 0;
  let face = 0;
  s.subscribe(["control:volume", "face"], () => volume++);
  s.subscribe(["face"], () => face++);
  s.change({ type: "change", seq: 813, at: AT, controller: { lead: true, controls: { volume: VOLUME } } });
  s.change({ type: "change", seq: 814, at: AT, controller: { controls: { volume: VOLUME } } });
  flush();
  assert.deepEqual([volume, face], [1, 1]);
  s.change({ type: "change", seq: 815, at: AT, controller: { controls: { mute: MUTE } } });
  flush();
  assert.deepEqual([volume, face], [1, 1]);
});

test("a welcome tells everybody, and who left hears nothing", () => {
  const { store: s, flush } = store();
  let heard = 0;
  s.subscribe(["partitions"], () => heard++);
  const leave = s.subscribe(["groups"], () => (heard += 100));
  leave();
  s.welcome(welcome());
  flush();
  assert.equal(heard, 1);
});

test("a watcher merges every controller and every zone's controls", () => {
  const { store: s } = store(null);
  s.welcome({ type: "welcome", seq: 1, at: AT, resumed: false, controllers: { "heron-wall": { links: [], lead: false, locked: null, controls: {} } }, zones: { heron: { group: ["heron"], linked_by: [], controls: { volume: VOLUME, mute: MUTE } } }, groups: [["heron"]] });
  s.change({ type: "change", seq: 2, at: AT, controllers: { "heron-wall": { lead: true } }, zones: { heron: { controls: { mute: { ...MUTE, value: false } } } } });
  assert.equal(s.view.controllers["heron-wall"]?.lead, true);
  assert.equal(s.view.zones.heron?.controls?.mute?.value, false);
  assert.equal(s.view.zones.heron?.controls?.volume?.value, -30);
});

test("looking back shows what was, still, while the present is merged behind it", () => {
  const { store: s } = store(null);
  s.welcome({ type: "welcome", seq: 1, at: AT, resumed: false, zones: { heron: { group: ["heron"], linked_by: [], controls: { volume: VOLUME } } }, groups: [["heron"]] });
  const moving = { from: -60, to: 0, start: AT, seconds: 4, curve: "linear" };
  s.lookBack({ controllers: {}, zones: { heron: { group: ["heron"], linked_by: [], controls: { volume: { ...VOLUME, value: -45, moving } } } }, partitions: {}, groups: [] });
  s.change({ type: "change", seq: 2, at: AT, zones: { heron: { controls: { volume: { ...VOLUME, value: -10 } } } } });
  assert.deepEqual(s.view.zones.heron?.controls?.volume, { ...VOLUME, value: -45, moving: null });
  s.lookBack(null);
  assert.equal(s.view.zones.heron?.controls?.volume?.value, -10);
});

test("overrides and alarms come whole, and those who asked hear of them", async () => {
  const store = new Store(null);
  const heard = /** @type {string[]} */ ([]);
  store.subscribe(["overrides"], () => void heard.push("overrides"));
  store.subscribe(["alarms"], () => void heard.push("alarms"));
  store.change({ type: "change", seq: 2, at: "", overrides: { fire: { since: "", why: "contact open", kind: "life-safety" } } });
  await Promise.resolve();
  assert.deepEqual(heard, ["overrides"]);
  store.change({ type: "change", seq: 3, at: "", overrides: {}, alarms: { "wall-late": /** @type {any} */ ({ since: "", text: "late" }) } });
  await Promise.resolve();
  assert.deepEqual(store.view.overrides, {});
  assert.deepEqual(heard, ["overrides", "overrides", "alarms"]);
});
