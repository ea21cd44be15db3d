import assert from "node:assert/strict";
import { test } from "node:test";
import { Idle } from "../src/idle.js";
import { VirtualTime } from "./fakes.js";

function watched() {
  const time = new VirtualTime();
  /** @type {boolean[]} */
  const heard = [];
  return { time, heard, idle: new Idle(time.timers, 1000, (idle) => void heard.push(idle)) };
}

test("a page that nobody touches becomes idle, and the touch that wakes it does nothing else", () => {
  const { time, heard, idle } = watched();
  time.pass(999);
  assert.equal(idle.used(), false);
  time.pass(1000);
  assert.deepEqual(heard, [true]);
  assert.equal(idle.used(1), true);
  assert.equal(idle.used(-1), false);
  assert.deepEqual(heard, [true, false]);
});

test("a page where something is held is in use, however long", () => {
  const { time, heard, idle } = watched();
  idle.used(1);
  time.pass(10_000);
  assert.deepEqual(heard, []);
  idle.used(-1);
  time.pass(1000);
  assert.deepEqual(heard, [true]);
});
