import assert from "node:assert/strict";
import { test } from "node:test";
import { Asked, CATCH_UP_MS_MAX } from "../src/asked.js";
import { settled, VirtualTime } from "./fakes.js";

function book() {
  const time = new VirtualTime();
  /** @type {string[]} */
  const touched = [];
  return { time, touched, asked: new Asked((key) => void touched.push(key), time.timers) };
}

/** @param {number} seq @returns {import("../src/types.js").Ok} */
const ok = (seq) => ({ type: "ok", id: 1, seq, zones: [], at: "" });

test("what was asked stays until the view has caught up with the answer", async () => {
  const { asked, touched } = book();
  void asked.put("program", "laptop", Promise.resolve(ok(9)));
  await settled();
  asked.caughtUp(8);
  assert.deepEqual(asked.get("program")?.value, "laptop");
  asked.caughtUp(9);
  assert.equal(asked.get("program"), undefined);
  assert.deepEqual(touched, ["program", "program"]);
});

test("an answer that is behind the view already ends it at once", async () => {
  const { asked } = book();
  asked.caughtUp(9);
  void asked.put("program", null, Promise.resolve(ok(9)));
  await settled();
  assert.equal(asked.get("program"), undefined);
});

test("an order that changes nothing is not waited for", async () => {
  const { asked, time } = book();
  void asked.put("program", "laptop", Promise.resolve(ok(9)));
  await settled();
  time.pass(CATCH_UP_MS_MAX);
  assert.equal(asked.get("program"), undefined);
});

test("a refusal ends it and still reaches who asked", async () => {
  const { asked } = book();
  await assert.rejects(asked.put("program", "laptop", Promise.reject(new Error("locked"))), /locked/);
  assert.equal(asked.get("program"), undefined);
});

test("an old answer does not end a newer question", async () => {
  const { asked } = book();
  void asked.put("volume", -30, Promise.resolve(ok(9)));
  void asked.put("volume", -20, new Promise(() => {}));
  await settled();
  asked.caughtUp(9);
  assert.equal(asked.get("volume")?.value, -20);
});
