import assert from "node:assert/strict";
import { test } from "node:test";
import { bounds, centre, contains, merged, pathOf } from "../src/plan-geometry.js";

/** @typedef {import("../src/types.js").Point} Point */

/** @type {Point[]} */
const HERON = [[0, 0], [12, 0], [12, 15], [0, 15]];
/** @type {Point[]} */
const PLOVER = [[12, 0], [24, 0], [24, 15], [12, 15]];
/** @type {Point[]} */
const TERN = [[12, 15], [24, 15], [24, 30], [12, 30]];
/** @type {Point[]} */
const CURLEW = [[0, 15], [12, 15], [12, 30], [0, 30]];

/** @param {Point[]} ring */
const area = (ring) => Math.abs(ring.reduce((sum, [x, y], i) => {
  const [nx, ny] = /** @type {Point} */ (ring[(i + 1) % ring.length]);
  return sum + x * ny - nx * y;
}, 0)) / 2;

test("an outline becomes a path, and a line becomes none", () => {
  assert.equal(pathOf([[[0, 0], [2.5, 0], [2.5, 1]]]), "M0 0L2.5 0L2.5 1Z");
  assert.equal(pathOf([[[0, 0], [1, 1]]]), "");
});

test("bounds hold every corner", () => {
  assert.deepEqual(bounds([...HERON, ...TERN]), { x: 0, y: 0, width: 24, height: 30 });
  assert.equal(bounds([]), null);
});

test("a name is written inside its room, even where the middle is not", () => {
  assert.deepEqual(centre(HERON), [6, 7.5]);
  /** @type {Point[]} */
  const corridor = [[0, 0], [10, 0], [10, 1], [1, 1], [1, 10], [0, 10]];
  assert.ok(contains(corridor, centre(corridor)));
});

test("the wall between two rooms disappears from their common outline", () => {
  const rings = merged([HERON, PLOVER]);
  assert.equal(rings.length, 1);
  assert.deepEqual(new Set(rings[0]?.map(String)), new Set(["0,0", "24,0", "24,15", "0,15"]));
});

test("the way round that an outline was typed does not matter", () => {
  const rings = merged([HERON, [...PLOVER].reverse()]);
  assert.equal(rings.length, 1);
  assert.equal(area(/** @type {Point[]} */ (rings[0])), 360);
});

test("four rooms around a crossing make one outline, three an L", () => {
  assert.equal(area(/** @type {Point[]} */ (merged([HERON, PLOVER, TERN, CURLEW])[0])), 720);
  const three = merged([HERON, PLOVER, TERN]);
  assert.equal(three.length, 1);
  assert.equal(three[0]?.length, 6);
});

test("a long wall that several rooms share in parts disappears too", () => {
  const rings = merged([HERON, PLOVER, [[0, 15], [24, 15], [24, 21], [0, 21]]]);
  assert.equal(rings.length, 1);
  assert.equal(area(/** @type {Point[]} */ (rings[0])), 24 * 21);
  assert.equal(rings[0]?.length, 4);
});

test("rooms that do not touch keep an outline each", () => {
  assert.equal(merged([HERON, TERN.map(([x, y]) => /** @type {Point} */ ([x + 5, y + 5]))]).length, 2);
});

test("rooms around a court make an outline with a hole", () => {
  /** @type {Point[][]} */
  const ring = [
    [[0, 0], [3, 0], [3, 1], [0, 1]],
    [[0, 2], [3, 2], [3, 3], [0, 3]],
    [[0, 1], [1, 1], [1, 2], [0, 2]],
    [[2, 1], [3, 1], [3, 2], [2, 2]],
  ];
  assert.deepEqual(merged(ring).map(area).sort((a, b) => a - b), [1, 9]);
});
