import assert from "node:assert/strict";
import { test } from "node:test";
import { Pace } from "../src/pace.js";
import { settled } from "./fakes.js";

function paced() {
  /** @type {number[]} */
  const sent = [];
  /** @type {(() => void)[]} */
  const answers = [];
  /** @type {(() => void)[]} */
  const frames = [];
  const pace = new Pace(
    (/** @type {number} */ value) => {
      sent.push(value);
      return new Promise((resolve) => answers.push(() => resolve(undefined)));
    },
    (run) => void frames.push(run),
  );
  return { pace, sent, answer: async () => { answers.shift()?.(); await settled(); }, frame: () => frames.shift()?.() };
}

test("the first value goes at once and only the latest of the rest follows", async () => {
  const { pace, sent, answer, frame } = paced();
  for (const value of [1, 2, 3, 4]) pace.offer(value);
  assert.deepEqual(sent, [1]);
  await answer();
  assert.deepEqual(sent, [1]);
  frame();
  assert.deepEqual(sent, [1, 4]);
});

test("after a pause the next value goes at once again", async () => {
  const { pace, sent, answer, frame } = paced();
  pace.offer(1);
  await answer();
  frame();
  pace.offer(2);
  assert.deepEqual(sent, [1, 2]);
});

test("what is forgotten is not sent", async () => {
  const { pace, sent, answer, frame } = paced();
  pace.offer(1);
  pace.offer(2);
  pace.forget();
  await answer();
  frame();
  assert.deepEqual(sent, [1]);
});
