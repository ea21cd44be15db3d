import assert from "node:assert/strict";
import { test } from "node:test";
import { clamp, fraction, keyStep, marks, rounded } from "../src/scale.js";

test("a value has its place on the range", () => {
  assert.equal(fraction(-30, [-60, 0]), 0.5);
  assert.equal(fraction(-90, [-60, 0]), 0);
  assert.equal(fraction(7, [7, 7]), 0);
});

test("nothing asked passes the range or the ceiling", () => {
  assert.equal(clamp(4, [-60, 0], null), 0);
  assert.equal(clamp(-2, [-60, 0], -6), -6);
  assert.equal(clamp(-80, [-60, 0], -6), -60);
});

test("an arrow key moves about a hundredth of the range, by a round step", () => {
  assert.equal(keyStep([-60, 0]), 1);
  assert.equal(keyStep([0, 100]), 1);
  assert.equal(keyStep([0, 1]), 0.01);
  assert.equal(keyStep([16, 26]), 0.1);
});

test("the printed figures are round and lie within the range", () => {
  assert.deepEqual(marks([-60, 0], 5), [-60, -40, -20, 0]);
  assert.deepEqual(marks([0, 100], 5), [0, 50, 100]);
  assert.deepEqual(marks([0, 0.3], 4), [0, 0.1, 0.2, 0.3]);
});

test("what is asked is what can be read, and zero has no sign", () => {
  assert.equal(rounded(-30.04, 1), -30);
  assert.equal(Object.is(rounded(-0.01, 1), 0), true);
});
