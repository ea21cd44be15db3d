import assert from "node:assert/strict";
import { test } from "node:test";
import { requestNotices, requestShort, requestWords, useNotices, useWords } from "../src/bookings.js";

/** @typedef {import("../src/types.js").InUse} InUse @typedef {import("../src/types.js").Wall} Wall */

/** @param {Partial<InUse>} [more] @returns {InUse} */
function use(more = {}) {
  return { booking: "b", occurrence: "k", title: "annual dinner", private: false, phase: "running", start: "2026-11-25T18:00:00Z", end: "2026-11-25T22:00:00Z", ...more };
}

/** @param {boolean} met @param {"open" | "closed"} [position] */
function asked(met, position = "open") {
  const requested = { position, by: "2026-11-25T18:00:00Z", since: "2026-11-25T17:00:00Z", booking: "b", met };
  return /** @type {Wall} */ (/** @type {unknown} */ ({ position: "closed", requested }));
}

const VENUE = /** @type {import("../src/types.js").Venue} */ (/** @type {unknown} */ ({
  venue: { timezone: "UTC" },
  zones: { heron: { name: "Heron" }, plover: { name: "" }, tern: { name: "Tern" } },
  partitions: { "heron-plover": { name: "West wall", between: ["heron", "plover"] } },
}));

test("what a room is used for is said with its time, from set-up to clear-down", () => {
  assert.equal(useWords(use(), "UTC"), "Annual dinner until 22:00");
  assert.equal(useWords(use({ phase: "set-up" }), "UTC"), "Set-up for annual dinner until 18:00");
  assert.equal(useWords(use({ phase: "clear-down" }), "UTC"), "Clear-down after annual dinner");
});

test("a private booking is in use, and no more is said", () => {
  assert.equal(useWords(use({ private: true, title: "in use" }), "UTC"), "In use until 22:00");
  assert.equal(useWords(use({ title: "in use", phase: "set-up" }), "UTC"), "Set-up until 18:00");
  assert.equal(useWords(use({ private: true, title: "in use", phase: "clear-down" }), "UTC"), "Clear-down");
});

test("rooms of one booking are told together", () => {
  const zone = (/** @type {InUse | null} */ in_use) => ({ group: [], linked_by: [], in_use });
  const zones = { heron: zone(use()), plover: zone(use()), tern: zone(null) };
  assert.deepEqual(useNotices(VENUE, zones, ["heron", "plover", "tern"]), ["Heron and Plover: Annual dinner until 22:00."]);
});

test("a wall that is asked for says where to, by when, and whether it is so", () => {
  assert.equal(requestWords(asked(false), "UTC"), "To be opened by hand by 18:00: not yet done");
  assert.equal(requestWords(asked(true, "closed"), "UTC"), "To be closed by hand by 18:00: done, it is closed");
  assert.equal(requestShort(asked(false), "UTC"), "open by 18:00");
  assert.equal(requestShort(asked(true), "UTC"), "open, as asked");
  assert.equal(requestWords(undefined, "UTC") + requestShort(undefined, "UTC"), "");
});

test("of walls only those at these rooms, that are not there yet, are notices; people move them", () => {
  assert.deepEqual(requestNotices(VENUE, { "heron-plover": asked(false) }, ["plover"]), ["West wall: to be opened by hand by 18:00: not yet done.", "Trained people move a wall, in view of it."]);
  assert.deepEqual(requestNotices(VENUE, { "heron-plover": asked(true) }, ["plover"]), []);
  assert.deepEqual(requestNotices(VENUE, { "heron-plover": asked(false) }, ["tern"]), []);
});
