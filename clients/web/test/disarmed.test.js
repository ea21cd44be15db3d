import assert from "node:assert/strict";
import { test } from "node:test";
import { disarmedOf, disarmedWords } from "../src/disarmed.js";

/** @type {any} */
const VENUE = { zones: { heron: { name: "Heron" }, plover: { name: "Plover" } } };
const binding = (/** @type {string} */ kind, /** @type {unknown} */ armed) => ({ class: kind, device: "relays", control: "heron.lamp", armed });

test("power and motion that nobody armed are disarmed, signals never", () => {
  assert.deepEqual([...disarmedOf({ a: binding("power", null) })], ["heron.lamp"]);
  assert.deepEqual([...disarmedOf({ a: binding("power", { who: "A" }), b: binding("signal", null) })], []);
});

test("where only some rooms are disarmed they are named", () => {
  assert.equal(disarmedWords(VENUE, ["heron"], ["heron"]), "Disarmed: nothing is sent");
  assert.equal(disarmedWords(VENUE, ["heron", "plover"], ["plover"]), "Disarmed in Plover: nothing is sent there");
  assert.equal(disarmedWords(VENUE, ["heron"], []), "");
});
