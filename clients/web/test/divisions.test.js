import assert from "node:assert/strict";
import { test } from "node:test";
import { arrangementWords, divisionNews, divisionWords, mismatchWords, questions } from "../src/divisions.js";
import { wallShort } from "../src/format.js";

/** @typedef {import("../src/types.js").Wall} Wall @typedef {import("../src/types.js").Venue} Venue */

const VENUE = /** @type {Venue} */ (/** @type {unknown} */ ({
  zones: { heron: { name: "Heron" }, plover: { name: "Plover" }, tern: { name: "Tern" } },
  partitions: { "heron-plover": { name: "North wall", between: ["heron", "plover"] }, "plover-tern": { name: "East wall", between: ["plover", "tern"] } },
}));
const SINCE = "2026-11-25T18:05:00Z";

/** @param {Partial<Wall>} [more] @returns {Wall} */
function wall(more = {}) {
  return { position: "open", trust: "sensed", flagged: false, joins: false, reported: null, pinned_until: null, ...more };
}

/** @param {"ask" | "hand" | "apart" | "fence"} why @param {string | null} [by] */
const kept = (why, by = null) => wall({ division: { why, since: SINCE, by } });
const HERE = { home: "heron", lead: true, locked: false, leads: true };
const APART = [["heron"], ["plover"], ["tern"]];

test("an open wall that does not combine says why, since when and by whom", () => {
  assert.equal(divisionWords(kept("apart", "kim"), "UTC"), "Kept apart on purpose by kim since 18:05.");
  assert.match(divisionWords(kept("ask"), "UTC"), /people are asked since 18:05/);
  assert.match(divisionWords(kept("hand"), "UTC"), /by hand/);
  assert.match(divisionWords(kept("fence"), "UTC"), /until a technician decides/);
  assert.equal(divisionWords(wall({ joins: true }), "UTC"), "");
  assert.equal(divisionWords(undefined), "");
});

test("the journal says the same as news", () => {
  assert.equal(divisionNews({ why: "apart", by: "kim" }), "kept apart on purpose by kim");
  assert.equal(divisionNews({ why: "apart" }), "kept apart on purpose");
  assert.match(divisionNews({ why: "ask" }), /asked whether to combine/);
  assert.match(divisionNews({ why: "fence" }), /nothing is combined/);
});

test("a stated position that its sensor contradicts is told", () => {
  assert.equal(mismatchWords(wall({ mismatched: true, sensed: "closed" })), "Stated open, but its sensor says closed: go and look.");
  assert.equal(mismatchWords(wall()), "");
});

test("a question is for the lead of either side", () => {
  const walls = { "heron-plover": kept("ask"), "plover-tern": wall({ position: "closed" }) };
  const [one] = questions(VENUE, walls, APART, HERE);
  assert.deepEqual(one, { id: "heron-plover", why: "ask", text: "North wall is open. Combine Heron and Plover?", combine: true, apart: true });
  assert.equal(questions(VENUE, walls, APART, { ...HERE, home: "plover" }).length, 1);
  assert.deepEqual(questions(VENUE, walls, APART, { ...HERE, home: "tern" }), []);
  assert.deepEqual(questions(VENUE, walls, APART, { ...HERE, lead: false }), []);
  assert.equal(questions(VENUE, walls, APART, { ...HERE, lead: false, leads: false }).length, 1);
  assert.deepEqual(questions(VENUE, walls, APART, { ...HERE, locked: true }), []);
});

test("the panel of a group speaks for all its walls", () => {
  const walls = { "heron-plover": wall({ joins: true }), "plover-tern": kept("hand") };
  assert.deepEqual(questions(VENUE, walls, [["heron", "plover"], ["tern"]], HERE).map((one) => one.id), ["plover-tern"]);
});

test("between two bookings a panel offers nothing to press", () => {
  const [one] = questions(VENUE, { "heron-plover": kept("fence") }, APART, HERE);
  assert.deepEqual([one?.combine, one?.apart], [false, false]);
  assert.match(one?.text ?? "", /a technician decides/);
});

test("an arrangement says whether it stands, all but which walls, and where a sensor doubts it", () => {
  const banquet = { walls: { "heron-plover": "open", "plover-tern": "open" } };
  assert.equal(arrangementWords(VENUE, { "heron-plover": wall(), "plover-tern": wall() }, banquet), "It stands so.");
  const closed = wall({ position: "closed" });
  assert.equal(arrangementWords(VENUE, { "heron-plover": wall(), "plover-tern": closed }, banquet), "All but East wall stand so.");
  assert.equal(arrangementWords(VENUE, { "heron-plover": closed, "plover-tern": closed }, banquet), "");
  const doubted = wall({ mismatched: true, sensed: "closed" });
  assert.match(arrangementWords(VENUE, { "heron-plover": doubted, "plover-tern": wall() }, banquet), /sensor says otherwise at North wall/);
});

test("at the wall itself it says in two words that an open wall does not combine", () => {
  assert.equal(wallShort(kept("apart", "kim")), "open, sensed, kept apart");
  assert.equal(wallShort(kept("ask")), "open, sensed, not combined");
  assert.equal(wallShort(wall({ joins: true })), "open, sensed");
});
