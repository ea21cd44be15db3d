import assert from "node:assert/strict";
import { test } from "node:test";
import { placeStanding } from "../src/equipment.js";

const SENT = { wanted: -30, sent: -30, reported: null, confirmed: false, fault: null };

test("a point of a device that says nothing is sent, and that is not abnormal", () => {
  assert.deepEqual(placeStanding(SENT, false, false), { words: "sent", abnormal: false });
  assert.deepEqual(placeStanding({ ...SENT, sent: null }, false, false), { words: "not sent yet", abnormal: false });
  assert.deepEqual(placeStanding({ ...SENT, reported: -30, confirmed: true }, false, false), { words: "confirmed", abnormal: false });
});

test("a fault, a lost device and a report that contradicts are abnormal", () => {
  assert.deepEqual(placeStanding({ ...SENT, fault: "no such channel" }, false, false), { words: "no such channel", abnormal: true });
  assert.deepEqual(placeStanding(SENT, true, false), { words: "device lost", abnormal: true });
  assert.deepEqual(placeStanding({ ...SENT, reported: -12 }, false, false), { words: "reports otherwise", abnormal: true });
  assert.equal(placeStanding({ ...SENT, wanted: -20, reported: -12 }, false, false).abnormal, false);
});

test("what is disarmed is said as such", () => {
  assert.deepEqual(placeStanding({ wanted: null, sent: null, reported: null, confirmed: false }, false, true), { words: "disarmed", abnormal: false });
});
