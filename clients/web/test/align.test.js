import assert from "node:assert/strict";
import { test } from "node:test";
import { alignChoices, heldWords } from "../src/align.js";

/** @type {any} */
const VENUE = { zones: { heron: { name: "Heron" }, plover: { name: "Plover" }, tern: { name: "Tern" } }, controllers: {}, partitions: {} };
/** @type {any} */
const VOLUME = { kind: "level", unit: "dB", tolerance: 1 };
/** @type {any} */
const PROGRAM = { kind: "choice", sources: true };
const level = (/** @type {number} */ value, more = {}) => /** @type {any} */ ({ kind: "level", value, ...more });
const choice = (/** @type {string | null} */ value) => /** @type {any} */ ({ kind: "choice", value });

test("each value held is one choice, that of the panel's own room first", () => {
  const choices = alignChoices(VENUE, VOLUME, "heron", ["heron"], [["tern", level(-20)], ["heron", level(-30)], ["plover", level(-20.2)]]);
  assert.deepEqual(choices.map(({ label }) => label), ["All to Heron\u2019s \u221230\u202fdB", "All to Tern and Plover\u2019s \u221220\u202fdB"]);
  assert.deepEqual(choices.map(({ value }) => value), [-30, -20]);
  assert.equal(heldWords(choices), "Heron has \u221230\u202fdB; Tern and Plover have \u221220\u202fdB.");
});

test("what is on the move counts as where it goes", () => {
  const moving = { from: -30, to: -10, start: "2026-11-25T19:42:00Z", seconds: 3, curve: "linear" };
  assert.equal(alignChoices(VENUE, VOLUME, "heron", ["heron"], [["heron", level(-30, { moving })]])[0]?.value, -10);
});

test("a source in one room with the panel's own is named as the panel names it", () => {
  const joined = alignChoices(VENUE, PROGRAM, "heron", ["heron", "plover"], [["plover", choice("laptop")], ["tern", choice("laptop")], ["heron", choice(null)]]);
  assert.deepEqual(joined.map(({ value }) => value), [null, "plover/laptop", "laptop"]);
  assert.equal(alignChoices(VENUE, PROGRAM, "heron", ["heron", "plover"], [["plover", choice("heron/laptop")]])[0]?.value, "laptop");
});
