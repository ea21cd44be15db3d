import assert from "node:assert/strict";
import { test } from "node:test";
import { sections } from "../src/compose.js";
import { optionName, sourceName } from "../src/format.js";
import { eventWords } from "../src/journal.js";
import { arrowPath } from "../src/plan-geometry.js";
import { flowLines, flowNotices, flowWords, heardNotices, isElsewhere } from "../src/travel.js";

/** @type {any} */
const VENUE = {
  zones: {
    heron: { name: "Heron", controls: { "handheld-mute": { kind: "switch", name: "", section: "sound" } } },
    plover: { name: "Plover", controls: { "handheld-mute": { kind: "switch", name: "", section: "sound" } } },
    curlew: { name: "Curlew", controls: {} },
  },
  partitions: {},
  controllers: {},
  venue_sources: { music: { name: "Background music", carries: ["sound"] } },
};
/** @type {Record<string, import("../src/types.js").OneWay>} */
const FLOWS = { late: { name: "Late", from: "heron", to: "curlew", carries: ["sound", "picture"], since: "", ends: "booking" } };
/** @type {Record<string, import("../src/types.js").Microphone>} */
const MICROPHONES = {
  lectern: { name: "Lectern", zone: "heron", heard_in: ["heron", "curlew"], radio: false, zones: ["heron"], level: null, mute: "lectern-mute" },
  handheld: { name: "Hand-held", zone: "heron", heard_in: ["heron", "curlew"], radio: true, zones: ["heron", "plover"], level: null, mute: "handheld-mute" },
  ceiling: { name: "Ceiling", zone: "heron", heard_in: ["heron", "curlew"], radio: false, zones: ["heron"], level: null, mute: null },
};

test("an overflow is said from where one stands, and not at all in rooms that it does not concern", () => {
  assert.equal(flowWords(VENUE, /** @type {any} */ (FLOWS.late)), "Curlew hears and sees Heron, one way, until the booking ends.");
  assert.deepEqual(flowNotices(VENUE, FLOWS, "curlew", ["curlew"]), ["This room hears and sees Heron, one way, until the booking ends."]);
  assert.deepEqual(flowNotices(VENUE, FLOWS, "heron", ["heron"]), ["Curlew hears and sees this room, one way, until the booking ends."]);
  assert.deepEqual(flowNotices(VENUE, FLOWS, "plover", ["plover"]), []);
  assert.equal(flowNotices(VENUE, FLOWS, "plover", ["plover", "heron"]).length, 1);
});

test("on a plan there is an arrow between the two, and words where it comes in", () => {
  assert.deepEqual(flowLines(VENUE, FLOWS, "curlew"), ["hears and sees Heron"]);
  assert.deepEqual(flowLines(VENUE, FLOWS, "heron"), []);
  assert.equal(arrowPath([0, 0], [0, 10], 1), "M0 4L0 6.2M-0.516 5.343L0 6.2M0.516 5.343L0 6.2");
});

test("microphones that can be worked say where they are heard, those alike in one sentence", () => {
  assert.deepEqual(heardNotices(VENUE, MICROPHONES, ["heron"]), ["Lectern and Hand-held: heard in Heron and Curlew while open."]);
  assert.deepEqual(heardNotices(VENUE, MICROPHONES, ["curlew"]), []);
});

test("a radio microphone is on the panel of the room in which it is used", () => {
  const elsewhere = (/** @type {string} */ zone, /** @type {string} */ control) => isElsewhere(MICROPHONES, zone, control);
  assert.equal(elsewhere("plover", "handheld-mute"), true);
  assert.equal(elsewhere("heron", "handheld-mute"), false);
  assert.equal(elsewhere("plover", "lectern-mute"), false);
  assert.deepEqual(sections(VENUE, "plover", ["plover"], elsewhere), []);
  assert.equal(sections(VENUE, "plover", ["plover", "heron"], elsewhere).length, 1);
});

test("what belongs to the venue goes by its own name", () => {
  assert.equal(optionName(VENUE, "venue/music"), "Background music");
  assert.equal(sourceName(VENUE, "venue/roof-camera"), "Roof camera");
  assert.equal(optionName(VENUE, "plover/laptop"), "Laptop in Plover");
});

test("the journal says what flowed where, and where a microphone went", () => {
  const now = { source: "heron", to: "curlew", carries: ["sound"], booking: null };
  assert.equal(eventWords(VENUE, { type: "one-way", overflow: "late", now }), "Late: Curlew hears Heron, one way.");
  assert.equal(eventWords(VENUE, { type: "one-way-ended", overflow: "late", why: "its booking is over" }), "Late is over (its booking is over)");
  assert.equal(eventWords(VENUE, { type: "microphone-assigned", microphone: "handheld", zone: "plover" }), "Handheld is used in Plover");
});
