import assert from "node:assert/strict";
import { test } from "node:test";
import { clockTime } from "../src/format.js";
import { overrideName, overrideOver, overrideWords, standsOver } from "../src/overrides.js";

const FIRE = { since: "2026-11-25T19:42:00Z", why: "contact open", kind: "life-safety" };

/** @type {any} */
const VENUE = { venue: { id: "t", name: "T", timezone: "UTC" }, zones: { heron: { name: "Heron" }, plover: { name: "Plover" } } };

/** @param {Record<string, any>} [controls] @returns {import("../src/types.js").Face} */
const face = (controls = {}) => ({ links: [{ zone: "heron", by: "hand", reasons: [], since: "", pickup: [] }], lead: false, locked: null, controls });

test("an override stands over a panel if it masks one of its controls or covers one of its zones", () => {
  assert.equal(overrideOver({}, face()), null);
  assert.equal(overrideOver({ fire: FIRE }, face()), null);
  assert.equal(overrideOver({ fire: FIRE }, face({ mute: { kind: "switch", value: true, overridden: "fire" } })), "fire");
  assert.equal(overrideOver({ fire: { ...FIRE, zones: null } }, face()), "fire");
  assert.equal(overrideOver({ fire: { ...FIRE, zones: ["plover"] } }, face()), null);
  assert.equal(overrideOver({ fire: { ...FIRE, zones: ["plover", "heron"] } }, face()), "fire");
});

test("an override is said in words: what stands, where, since when, why and what follows", () => {
  const after = "Orders are refused until it clears; then nothing moves by itself.";
  assert.equal(overrideWords("Fire", FIRE, null), `Life safety: Fire since ${clockTime(FIRE.since)} (contact open). ${after}`);
  assert.equal(overrideWords("Fire panel", { ...FIRE, zones: null }, VENUE), `Life safety: Fire panel in all rooms since 19:42 (contact open). ${after}`);
  assert.equal(overrideWords("Fire panel", { ...FIRE, why: "", zones: ["heron", "plover"] }, VENUE), `Life safety: Fire panel in Heron and Plover since 19:42. ${after}`);
});

test("an override has the venue's name, or its key in words", () => {
  assert.equal(overrideName({ fire: { ...FIRE, name: "Fire panel" } }, "fire"), "Fire panel");
  assert.equal(overrideName({ "fire-east": { ...FIRE, name: "fire-east" } }, "fire-east"), "Fire east");
  assert.equal(overrideName({}, "fire"), "Fire");
});

test("of several overrides each stands over a panel, or elsewhere", () => {
  assert.ok(standsOver("fire", { ...FIRE, zones: ["heron"] }, face()));
  assert.ok(!standsOver("lockout", { ...FIRE, zones: ["tern"] }, face()));
});
