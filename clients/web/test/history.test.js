import assert from "node:assert/strict";
import { test } from "node:test";
import { levelPath, timeline, writtenInstant, writtenReading, zonedInstant, zonedReading } from "../src/history.js";

const T0 = Date.parse("2026-11-25T19:00:00Z");
const iso = (/** @type {number} */ s) => new Date(T0 + s * 1000).toISOString();
/** @type {any} */
const VIEW = {
  partitions: { north: { position: "closed", trust: "sensed" } },
  zones: { heron: { controls: { volume: { kind: "level", value: -30, moving: null }, mute: { kind: "switch", value: true } } } },
};
/** @type {(s: number, event: any) => any} */
const entry = (s, event) => ({ seq: s, at: iso(s), who: "", via: "", did: {}, events: [event] });
/** @type {(s: number, origin: number, to: number, seconds: number) => any} */
const ramp = (s, origin, to, seconds) => entry(s, { type: "control", zone: "heron", control: "volume", kind: "level", now: { origin, to, start: T0 / 1000 + s, seconds } });

test("a level is drawn through its ramps, and where one was cut short by another", () => {
  const { levels } = timeline(VIEW, [ramp(10, -30, -10, 4), ramp(12, -20, -50, 0), ramp(40, -50, -40, 100)], T0, T0 + 60_000);
  assert.deepEqual(levels.get("heron volume")?.map(([ms, value]) => [(ms - T0) / 1000, value]), [
    [0, -30], [10, -30], [10, -30], [12, -20], [12, -50], [40, -50], [40, -50], [60, -48],
  ]);
  assert.equal(levels.has("heron mute"), false);
});

test("a level that ends its ramp stays there", () => {
  const { levels } = timeline(VIEW, [ramp(10, -30, -10, 4)], T0, T0 + 60_000);
  assert.deepEqual(levels.get("heron volume")?.slice(-2).map(([ms, value]) => [(ms - T0) / 1000, value]), [[14, -10], [60, -10]]);
});

test("a wall is drawn as spans, and a report that changes nothing ends none", () => {
  const wall = (/** @type {number} */ s, /** @type {string} */ position) => entry(s, { type: "wall", partition: "north", now: { position, trust: "sensed" } });
  const { walls } = timeline(VIEW, [wall(5, "closed"), wall(20, "moving"), wall(30, "open"), wall(90, "closed")], T0, T0 + 60_000);
  assert.deepEqual(walls.get("north")?.map(({ from, to, position }) => [(from - T0) / 1000, (to - T0) / 1000, position]), [
    [0, 20, "closed"], [20, 30, "moving"], [30, 60, "open"],
  ]);
});

test("a level's path lies in a box of 1000 by 100, the highest value on top", () => {
  assert.equal(levelPath([[T0, -60], [T0 + 500, 0], [T0 + 1000, -30]], T0, T0 + 1000, [-60, 0]), "M0 100L500 0L1000 50");
});

test("a reading of the venue's clock is an instant, whatever this device's zone, and in summer and winter", () => {
  assert.equal(new Date(zonedInstant("2026-11-25T19:42", "America/Halifax")).toISOString(), "2026-11-25T23:42:00.000Z");
  assert.equal(new Date(zonedInstant("2026-07-01T19:42:10", "America/Halifax")).toISOString(), "2026-07-01T22:42:10.000Z");
  // Clocks go back from 02:00 to 01:00 on this night: half past one comes twice.
  assert.equal(new Date(zonedInstant("2026-11-01T01:30", "America/Halifax")).toISOString(), "2026-11-01T04:30:00.000Z");
  assert.equal(zonedReading(Date.parse("2026-11-25T23:42:10.900Z"), "America/Halifax"), "2026-11-25T19:42:10");
  assert.ok(Number.isNaN(zonedInstant("", "America/Halifax")));
});

test("a time is written with 24 hours in the venue's zone, with or without seconds", () => {
  const at = Date.parse("2026-11-25T23:42:00Z");
  for (const text of ["2026-11-25 19:42", " 2026-11-25T19:42:00 "]) assert.equal(writtenInstant(text, "America/Halifax"), at);
  assert.equal(writtenInstant("2026-11-25 9:05", "UTC"), Date.parse("2026-11-25T09:05:00Z"));
  for (const text of ["", "11/25/2026 19:42", "2026-11-25 19:42 PM", "2026-13-25 19:42"]) assert.ok(Number.isNaN(writtenInstant(text, "UTC")), text);
  assert.equal(writtenReading(at, "America/Halifax"), "2026-11-25 19:42:00");
});
