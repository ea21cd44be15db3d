import assert from "node:assert/strict";
import { test } from "node:test";
import { isUnderWay, shownLevel, trajectoryValue } from "../src/trajectory.js";

const START = "2026-11-25T19:42:00Z";
const T0 = Date.parse(START);
const MOVING = { from: -30, to: -10, start: START, seconds: 2, curve: "linear" };

test("a level on the move is where its trajectory says", () => {
  assert.equal(trajectoryValue(MOVING, T0 - 500), -30);
  assert.equal(trajectoryValue(MOVING, T0), -30);
  assert.equal(trajectoryValue(MOVING, T0 + 500), -25);
  assert.equal(trajectoryValue(MOVING, T0 + 1000), -20);
});

test("it ends exactly on its target and stays there", () => {
  const awkward = { from: 0.1, to: 0.3, start: START, seconds: 0.7, curve: "linear" };
  assert.equal(trajectoryValue(awkward, T0 + 700), 0.3);
  assert.equal(trajectoryValue(MOVING, T0 + 3_600_000), -10);
  assert.equal(trajectoryValue({ ...MOVING, seconds: 0 }, T0), -10);
});

test("it is under way until it arrives", () => {
  assert.equal(isUnderWay(MOVING, T0 - 500), true);
  assert.equal(isUnderWay(MOVING, T0 + 1999), true);
  assert.equal(isUnderWay(MOVING, T0 + 2000), false);
  assert.equal(isUnderWay(null, T0), false);
});

test("an undecided level shows no value", () => {
  assert.equal(shownLevel({ kind: "level", value: null, decided: false, mixed: true, outliers: ["heron"], moving: null }, T0), null);
  assert.equal(shownLevel({ kind: "level", value: -30, decided: true, moving: MOVING }, T0 + 1000), -20);
  assert.equal(shownLevel({ kind: "level", value: -30, decided: true, moving: null }, T0), -30);
  assert.equal(shownLevel(undefined, T0), null);
});
