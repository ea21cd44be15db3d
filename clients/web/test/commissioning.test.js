import assert from "node:assert/strict";
import { test } from "node:test";
import { isLeft, measuredOf, pathOf, recordWords, summaryWords } from "../src/commissioning.js";

/** @typedef {import("../src/commissioning.js").Item} Item */

/** @param {Partial<Item>} more @returns {Item} */
function item(more = {}) {
  return { item: "wall/a-b/open", kind: "wall", of: "a-b", check: "open", title: "", how: "", unit: "s", standing: "open", record: null, ...more };
}

/** @type {import("../src/commissioning.js").CheckRecord} */
const RECORD = { result: "pass", measured: -2.5, unit: "s", note: "Both ends", who: "A. Technician", at: "2026-11-25T18:00:00Z" };

test("the summary counts what stands how, and leaves out what nothing does", () => {
  assert.equal(summaryWords([item(), item({ standing: "pass" })]), "1 of 2 passed, 1 open.");
  const all = [item({ standing: "again" }), item({ standing: "fail" }), item({ standing: "not-applicable" }), item({ standing: "not-applicable" })];
  assert.equal(summaryWords(all), "0 of 4 passed, 1 failed, 1 to be done again, 2 do not apply.");
});

test("what failed, is open or has changed is left to do", () => {
  assert.deepEqual(["pass", "not-applicable", "fail", "again", "open"].map((standing) => isLeft(item({ standing: /** @type {any} */ (standing) }))), [false, false, true, true, true]);
});

test("a record says what, how much, who and when in the venue's time zone", () => {
  assert.equal(recordWords(item({ standing: "pass", record: RECORD }), "America/Halifax"), "Passed, \u22122.5\u202fs: A. Technician, 25 November 2026 at 14:00. Both ends");
  assert.match(recordWords(item({ standing: "again", record: RECORD }), "no/zone"), /^Passed before it changed/);
  assert.match(recordWords(item({ record: { ...RECORD, result: "open", measured: null, note: "" } })), /^Taken back: A. Technician/);
  assert.equal(recordWords(item()), "");
});

test("numbers are read as people write them", () => {
  assert.deepEqual([" 2,5 ", "\u22123", "", "0", "1e3", "much"].map(measuredOf), [2.5, -3, null, 0, 1000, undefined]);
});

test("an item's path keeps its three parts, whatever is in them", () => {
  assert.equal(pathOf("binding/bay east.house/moves"), "/api/v1/commissioning/binding/bay%20east.house/moves");
});
