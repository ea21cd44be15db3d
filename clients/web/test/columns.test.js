import assert from "node:assert/strict";
import { test } from "node:test";
import { columnsOf } from "../src/columns.js";

test("sections keep their order and the tallest column is as short as can be", () => {
  assert.deepEqual(columnsOf([400, 224, 437, 200], 2), [0, 0, 1, 1]);
  assert.deepEqual(columnsOf([400, 224, 800, 200], 3), [0, 0, 1, 2]);
  assert.deepEqual(columnsOf([100, 100, 100], 1), [0, 0, 0]);
  assert.deepEqual(columnsOf([100], 3), [0]);
  assert.deepEqual(columnsOf([], 3), []);
});
