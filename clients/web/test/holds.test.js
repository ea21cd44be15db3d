import assert from "node:assert/strict";
import { test } from "node:test";
import { Holds } from "../src/holds.js";

function book() {
  /** @type {(string | boolean)[]} */
  const log = [];
  return { log, holds: new Holds((any) => void log.push(any)) };
}

test("the first hold starts the signs of life and the last one ends them", () => {
  const { log, holds } = book();
  const first = holds.start("volume", () => void log.push("volume"));
  const second = holds.start("talkback", () => void log.push("talkback"));
  first();
  second();
  assert.deepEqual(log, [true, "volume", false, "talkback"]);
});

test("a hold is let go once, however often it is ended", () => {
  const { log, holds } = book();
  const end = holds.start("volume", (why) => void log.push(`let go ${why}`));
  end();
  end();
  holds.endAll("gone");
  assert.deepEqual(log, [true, false, "let go "]);
});

test("several fingers hold at once, and all are let go together", () => {
  const { log, holds } = book();
  for (const control of ["volume", "house", "talkback"]) holds.start(control, (why) => void log.push(`${control}: ${why}`));
  holds.endAll("The page was hidden.");
  assert.deepEqual(log.slice(1), ["volume: The page was hidden.", "house: The page was hidden.", false, "talkback: The page was hidden."]);
});

test("what the service let go of is not told to it again", () => {
  const { holds } = book();
  /** @type {boolean[]} */
  const told = [];
  holds.start("volume", (_why, tell) => void told.push(tell));
  const other = holds.start("house", (_why, tell) => void told.push(tell));
  holds.endControl("volume", "A newer order came.");
  other();
  assert.deepEqual(told, [false, true]);
});
