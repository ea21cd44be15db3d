import assert from "node:assert/strict";
import { test } from "node:test";
import { clockTime, controlName, decimals, differingWords, duckedWords, figure, listed, listedShort, mixedWords, optionName, refusalWords, personWords, standingWords, valueWords, wallWords, words, motionWords, wallNotices } from "../src/format.js";

/** @typedef {import("../src/types.js").Venue} Venue */
/** @typedef {import("../src/types.js").Spec} Spec */
/** @typedef {import("../src/types.js").Face} Face */

/** @type {Venue} */
const VENUE = {
  venue: { id: "tidewater", name: "Tidewater Hall", timezone: "America/Halifax" },
  zones: {
    heron: { name: "Heron", type: "section", outline: null, controls: {} },
    plover: { name: "Plover", type: "section", outline: null, controls: {} },
    tern: { name: "Tern", type: "section", outline: null, controls: {} },
  },
  partitions: { "heron-plover": { name: "", between: ["heron", "plover"], line: null, simulated: true } },
  controllers: { "heron-wall": { name: "Heron panel", home: "heron", reach: null } },
  scenes: {},
};
/** @type {Spec} */
const VOLUME = { kind: "level", name: "", section: "sound", unit: "dB", range: [-60, 0], tolerance: 0.5 };

/** @param {string[]} zones @param {Partial<Face>} [more] @returns {Face} */
function face(zones, more = {}) {
  return { links: zones.map((zone) => ({ zone, by: "hand", reasons: ["hand"], since: "", pickup: [] })), lead: false, locked: null, controls: {}, ...more };
}

test("keys become words and lists become sentences", () => {
  assert.equal(words("bay-east"), "Bay east");
  assert.equal(controlName("house_lights", undefined), "House lights");
  assert.equal(listed([]), "");
  assert.equal(listed(["Heron"]), "Heron");
  assert.equal(listed(["Heron", "Plover", "Tern"]), "Heron, Plover and Tern");
  assert.equal(listedShort(["Heron", "Plover", "Tern"]), "Heron and 2 more");
  assert.equal(listedShort(["Heron", "Plover"]), "Heron and Plover");
});

test("levels are said in their unit, with a real minus sign and as many decimals as their tolerance", () => {
  assert.equal(decimals(VOLUME), 1);
  assert.equal(decimals({ ...VOLUME, tolerance: 1 }), 0);
  assert.equal(valueWords(VENUE, VOLUME, -30), "\u221230.0\u202fdB");
  assert.equal(valueWords(VENUE, { ...VOLUME, unit: "%", tolerance: 1 }, 70), "70\u202f%");
  assert.equal(figure(-0.04, 1), "0.0");
  assert.equal(valueWords(VENUE, VOLUME, null), "no value");
});

test("a source of another room says whose it is, and none is said", () => {
  assert.equal(optionName(VENUE, "laptop"), "Laptop");
  assert.equal(optionName(VENUE, "plover/laptop"), "Laptop in Plover");
  assert.equal(optionName(VENUE, null), "None");
});

test("disagreement names who differs, or says that all do", () => {
  const linked = face(["heron", "plover", "tern"]);
  const mixed = { kind: /** @type {const} */ ("switch"), value: true, decided: true, mixed: true };
  assert.equal(mixedWords(VENUE, linked, { ...mixed, outliers: ["plover"] }), "Plover differs");
  assert.equal(mixedWords(VENUE, linked, { ...mixed, outliers: ["plover", "tern"] }), "Plover and Tern differ");
  assert.equal(mixedWords(VENUE, linked, { ...mixed, decided: false, outliers: ["heron", "plover", "tern"] }), "Rooms differ");
  assert.equal(mixedWords(VENUE, linked, { ...mixed, outliers: [] }), "Rooms differ");
  assert.equal(mixedWords(VENUE, linked, { ...mixed, mixed: false }), "");
});

test("one sentence sums up what differs", () => {
  const linked = face(["heron", "plover", "tern"]);
  /** @type {import("../src/types.js").Feedback} */
  const one = { kind: "switch", value: true, decided: true, mixed: true, outliers: ["plover"] };
  assert.equal(differingWords(VENUE, linked, []), "");
  assert.equal(differingWords(VENUE, linked, [{ name: "Mute", feedback: one }]), "Mute: Plover differs.");
  assert.equal(differingWords(VENUE, linked, [{ name: "Mute", feedback: { ...one, outliers: [] } }]), "Mute: the rooms differ.");
  assert.equal(differingWords(VENUE, linked, [{ name: "Mute", feedback: one }, { name: "Volume", feedback: one }]), "Mute and Volume differ between the rooms.");
});

test("a wall says its position, how it is known, and what waits", () => {
  const wall = { position: /** @type {const} */ ("open"), trust: /** @type {const} */ ("sensed"), flagged: false, joins: true, reported: null, pinned_until: null };
  assert.equal(wallWords(wall), "Open, sensed");
  assert.equal(wallWords({ ...wall, trust: "pinned", pinned_until: "2026-11-25T23:40:00Z" }, "America/Halifax"), "Open, stated by hand until 19:40");
  assert.equal(wallWords({ ...wall, reported: "closed" }), "Open, sensed, now reported closed, waiting until steady");
  assert.equal(wallWords({ ...wall, trust: "pinned", position: "closed", sensed: "open" }), "Closed, stated by hand, its contact says open");
  assert.equal(wallWords({ ...wall, trust: "pinned", sensed: "open" }), "Open, stated by hand");
  assert.equal(wallWords({ ...wall, position: "unknown", trust: "unknown" }), "Not known");
  assert.equal(wallWords(undefined), "Not known");
});

test("a time zone that the browser lacks falls back to its own", () => {
  assert.match(clockTime("2026-11-25T23:40:00Z", "Nowhere/At-All"), /^\d\d:\d\d$/);
});

test("a refusal is told in words a guest could follow", () => {
  const problem = { type: "https://example.org/problems/nothing-linked", title: "Nothing linked", status: 409 };
  assert.match(refusalWords({ problem }), /No room is linked/);
  assert.equal(refusalWords({ problem: { ...problem, type: "/problems/locked", detail: "Heron panel is in charge." } }), "Heron panel is in charge.");
  assert.equal(refusalWords(new Error("Lost.")), "Lost.");
});

test("what a panel works on is a sentence", () => {
  assert.equal(standingWords(VENUE, face([]), []).rooms, "No room");
  assert.deepEqual(standingWords(VENUE, face(["heron"]), [["heron"], ["plover"]]), { rooms: "Heron", standing: "On its own." });
  assert.deepEqual(standingWords(VENUE, face(["heron", "plover"], { lead: true }), [["heron", "plover"]]), {
    rooms: "Heron and Plover",
    standing: "One room, walls open; this panel is in charge.",
  });
  assert.equal(standingWords(VENUE, face(["heron", "tern"]), [["heron"], ["tern"]]).standing, "Separate rooms, worked together.");
  const controllers = { ...VENUE.controllers, "plover-wall": { name: "", home: "plover", reach: null } };
  const mirrors = { ...VENUE, controllers, combining: { others: "mirror", lead_order: ["heron-wall", "plover-wall"] } };
  const follower = face(["plover", "heron"], { controller: "plover-wall" });
  assert.equal(standingWords(mirrors, follower, [["heron", "plover"]], { heron: "heron-wall" }).standing, "One room, walls open; follows Heron\u2019s panel.");
  assert.equal(standingWords(mirrors, face(["heron", "plover"], { controller: "heron-wall" }), [["heron", "plover"]], { heron: "plover-wall" }).standing, "One room, walls open; follows Plover\u2019s panel.");
  assert.match(standingWords(VENUE, face(["plover"], { locked: { by: "heron-wall" } }), [["heron", "plover"]]).standing, /Heron and Plover are one room; locked: Heron panel is in charge/);
});

test("a motion is said as what it does", () => {
  assert.equal(motionWords("open"), "Opening");
  assert.equal(motionWords("close"), "Closing");
  assert.equal(motionWords(null), "At rest");
  assert.equal(motionWords(null, "close"), "Resting before it closes");
});

test("walls beside the linked rooms that are not as usual are told", () => {
  /** @type {any} */
  const venue = {
    venue: { timezone: "UTC" },
    zones: { heron: { name: "Heron" }, plover: { name: "Plover" }, tern: { name: "Tern" } },
    partitions: { a: { name: "North wall", between: ["heron", "plover"] }, b: { name: "East wall", between: ["plover", "tern"] } },
  };
  /** @type {any} */
  const face = { links: [{ zone: "heron" }], controls: {} };
  const wall = (/** @type {any} */ more) => ({ position: "closed", trust: "sensed", flagged: false, joins: false, reported: null, pinned_until: null, ...more });
  assert.deepEqual(wallNotices(venue, face, { a: wall({}), b: wall({ position: "unknown" }) }), []);
  assert.deepEqual(wallNotices(venue, face, { a: wall({ position: "unknown", trust: "unknown" }) }), ["North wall: not known."]);
  assert.deepEqual(wallNotices(venue, face, { a: wall({ position: "moving", trust: "sensed" }) }), ["North wall: moving, sensed."]);
  const stated = { position: "open", trust: "pinned", pinned_until: "2026-11-25T21:00:00Z", sensed: "closed", mismatched: true };
  const both = { links: [{ zone: "plover" }], controls: {} };
  assert.deepEqual(wallNotices(venue, /** @type {any} */ (both), { a: wall(stated), b: wall(stated) }), ["North wall and East wall: open, stated by hand until 21:00; the contact says closed."]);
  assert.deepEqual(wallNotices(venue, face, { a: wall({ flagged: true }) }), ["North wall: closed, sensed, inside rooms that are joined another way."]);
});

test("who did something is a panel by its name, a person by theirs, or somebody at a device", () => {
  assert.equal(personWords(VENUE, "heron-wall"), "Heron panel");
  assert.equal(personWords(VENUE, "kim"), "kim");
  assert.equal(personWords(VENUE, "http 10.0.0.7"), "somebody at 10.0.0.7");
  assert.equal(personWords(null, ""), "somebody");
});

test("while somebody pages a level says by how much it is lower", () => {
  assert.equal(duckedWords(/** @type {any} */ ({ kind: "level", unit: "dB", tolerance: 0.5 }), { ducked: 12 }), "somebody pages: 12\u202fdB lower meanwhile");
  assert.equal(duckedWords(/** @type {any} */ ({ kind: "level", unit: "dB" }), {}), "");
  assert.equal(duckedWords(undefined, { ducked: 12 }), "");
});
