import assert from "node:assert/strict";
import test from "node:test";
import { doorWords, markWords } from "../src/wall-marks.js";

test("a wall that is not to be moved says why, and who says so", () => {
  const wall = { do_not_move: { why: "the track is bent", by: "kim", since: "2026-05-01T18:05:00.000Z" } };
  assert.equal(markWords(wall, "UTC"), "Do not move: the track is bent (kim, 18:05).");
  assert.equal(markWords({ do_not_move: null }, "UTC"), "");
  assert.equal(markWords(undefined), "");
});

test("a pass door is told where somebody knows of it", () => {
  assert.equal(doorWords({ pass_door: "open" }), "Its pass door is open.");
  assert.equal(doorWords({ pass_door: null }), "");
});
