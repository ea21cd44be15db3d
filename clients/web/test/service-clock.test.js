import assert from "node:assert/strict";
import { test } from "node:test";
import { ServiceClock } from "../src/service-clock.js";

test("the shortest of the recent round trips is believed", () => {
  let local = 0;
  const clock = new ServiceClock(() => local);
  clock.roughly(new Date(10_000).toISOString());
  assert.equal(clock.now(), 10_000);
  local = 400;
  clock.measured(new Date(10_500).toISOString(), 0);
  assert.equal(clock.now(), 400 + 10_300);
  local = 1000;
  clock.measured(new Date(11_000).toISOString(), 980);
  assert.equal(clock.now(), 1000 + 10_010);
  local = 3000;
  clock.measured(new Date(20_000).toISOString(), 1000);
  assert.equal(clock.now(), 3000 + 10_010);
});

test("a new welcome starts afresh, and a stamp that is none is ignored", () => {
  let local = 0;
  const clock = new ServiceClock(() => local);
  clock.measured(new Date(5000).toISOString(), 0);
  local = 100;
  clock.roughly(new Date(9000).toISOString());
  clock.roughly("soon");
  clock.measured("later", 0);
  assert.equal(clock.now(), 9000);
});
