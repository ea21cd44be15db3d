import assert from "node:assert/strict";
import { test } from "node:test";
import { moveOn, others } from "../src/nodes.js";

test("other nodes are origins, each once, without our own and without what is no address", () => {
  const told = ["http://b:8080/", "http://a:8080", "http://b:8080", "nonsense", 7];
  assert.deepEqual(others(told, "http://a:8080"), ["http://b:8080"]);
  assert.deepEqual(others(undefined, "http://a:8080"), []);
});

test("a page moves to the first node that answers, and to no other", async () => {
  /** @type {string[]} */
  const asked = [];
  /** @type {string[]} */
  const moved = [];
  const ports = {
    answers: async (/** @type {string} */ address) => asked.push(address) > 1,
    move: (/** @type {string} */ address) => void moved.push(address),
  };
  assert.equal(await moveOn(["http://b", "http://c", "http://d"], ports), true);
  assert.deepEqual(asked, ["http://b", "http://c"]);
  assert.deepEqual(moved, ["http://c"]);
});

test("where none answers the page stays", async () => {
  const ports = { answers: async () => false, move: () => assert.fail("nowhere to go") };
  assert.equal(await moveOn(["http://b"], ports), false);
  assert.equal(await moveOn([], ports), false);
});
