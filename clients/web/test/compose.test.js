import assert from "node:assert/strict";
import { test } from "node:test";
import { commonSpec, sections } from "../src/compose.js";

/** @typedef {import("../src/types.js").Spec} Spec */

/** @param {import("../src/types.js").Kind} kind @param {string} section @returns {Spec} */
const spec = (kind, section) => ({ kind, name: "", section });

/** @type {any} */
const VENUE = {
  zones: {
    heron: { controls: { program: spec("choice", "picture"), volume: spec("level", "sound"), fan: spec("switch", "") } },
    plover: { controls: { volume: spec("level", "sound"), blinds: spec("switch", "shade") } },
  },
};

test("controls stand by what people do with them, and those without a section under room", () => {
  assert.deepEqual(sections(VENUE, "heron", ["heron"]).map(({ section, controls }) => [section, controls.map((c) => c.name)]), [
    ["sound", ["volume"]],
    ["picture", ["program"]],
    ["room", ["fan"]],
  ]);
});

test("what only a linked room has is added, under a section of its own if need be", () => {
  assert.deepEqual(sections(VENUE, "heron", ["heron", "plover"]).map(({ section }) => section), ["sound", "picture", "room", "shade"]);
});

test("a level of several zones reaches as far as any of them", () => {
  /** @type {Spec} */
  const hall = { ...spec("level", "sound"), unit: "dB", range: [-60, 0], ceiling: -6 };
  /** @type {Spec} */
  const foyer = { ...hall, range: [-80, 0], ceiling: -20 };
  assert.deepEqual([commonSpec([foyer, hall])?.range, commonSpec([foyer, hall])?.ceiling], [[-80, 0], -6]);
  assert.equal(commonSpec([foyer, { ...hall, ceiling: null }])?.ceiling, null);
  assert.deepEqual(commonSpec([foyer, { ...hall, unit: "%", range: [0, 100] }])?.range, [-80, 0]);
  assert.equal(commonSpec([]), undefined);
});
