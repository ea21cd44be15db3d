import assert from "node:assert/strict";
import { test } from "node:test";
import { overrideOver, overrideWords } from "../src/overrides.js";

const FIRE = { since: "2026-11-25T19:42:00Z", why: "contact open", kind: "life-safety" };

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

test("an override is said in words: what stands, since when, why and what follows", () => {
  assert.equal(
    overrideWords("fire", FIRE, "UTC"),
    "Life safety: Fire since 19:42 (contact open). Orders are refused until it clears; then nothing moves by itself.",
  );
});
