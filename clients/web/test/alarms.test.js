import assert from "node:assert/strict";
import { test } from "node:test";
import { actionsOf, alarmName, countWords, floodWords, guestWords, priorityWords, ranked, speaks, stateWords } from "../src/alarms.js";
import { eventWords } from "../src/journal.js";

/** @type {any} */
const VENUE = { venue: { id: "t", name: "T", timezone: "UTC" }, zones: { heron: { name: "Heron" }, plover: { name: "Plover" } }, partitions: {}, controllers: {} };

/** @param {Partial<import("../src/types.js").Alarm>} members @returns {import("../src/types.js").Alarm} */
function alarm(members) {
  return {
    kind: "device-lost", state: "unacknowledged", stands: true, priority: "medium", text: "lighting cannot be reached", since: "2026-11-25T10:00:00.000Z",
    count: 1, chattering: false, by: "", why: "", until: null, zones: [], ...members,
  };
}

test("what stands comes first, the most urgent of it first, then the oldest", () => {
  const found = ranked({
    a: alarm({ state: "shelved", priority: "high" }),
    b: alarm({ priority: "low" }),
    c: alarm({ priority: "high", state: "acknowledged" }),
    d: alarm({ since: "2026-11-25T09:00:00.000Z" }),
    e: alarm({}),
  });
  assert.deepEqual(found.map(([id]) => id), ["c", "d", "e", "b", "a"]);
});

test("every state is said in words, with who, until when and why", () => {
  const shelved = alarm({ state: "shelved", by: "ada", until: "2026-11-25T10:15:00.000Z", why: "a fitter is at it" });
  assert.match(stateWords(shelved, "UTC"), /^Shelved until .*10:15.* by ada \(a fitter is at it\)\. The condition stands\.$/);
  assert.equal(stateWords(alarm({ state: "returned" }), "UTC"), "Over, but nobody has acknowledged it.");
  assert.match(stateWords(alarm({ chattering: true }), "UTC"), /keeps still/);
  assert.equal(stateWords(alarm({ state: "some-newer-state" }), "UTC"), "Some newer state.");
});

test("each state offers what may be done in it, and one that is not known nothing", () => {
  assert.deepEqual(actionsOf(alarm({})), ["acknowledge", "shelve", "remove"]);
  assert.deepEqual(actionsOf(alarm({ state: "out-of-service" })), ["return"]);
  assert.deepEqual(actionsOf(alarm({ state: "some-newer-state" })), []);
});

test("guests read what it means for them and no name of equipment; of low priority not even that", () => {
  const said = guestWords(VENUE, [
    { kind: "device-lost", priority: "high", zones: ["heron", "plover"], since: "" },
    { kind: "other", priority: "low", zones: ["heron"], since: "" },
    { kind: "other", priority: "low", zones: ["heron"], since: "" },
  ]);
  assert.deepEqual(said, [
    "Heron and Plover: some controls may not answer at the moment. The venue\u2019s staff can see it.",
    "Heron: a small thing waits for the venue\u2019s staff.",
  ]);
  assert.deepEqual(guestWords(VENUE, []), []);
  const both = ["device-lost", "wall-late", "device-lost", "other"].map((kind) => ({ kind, priority: "medium", zones: ["heron"], since: "" }));
  assert.deepEqual(guestWords(VENUE, both), [
    "Heron: some controls may not answer at the moment; the room divider has not arrived yet. The venue\u2019s staff can see it.",
  ]);
});

test("the count says how many stand, how many are urgent and how many wait for somebody", () => {
  assert.equal(countWords([]), "");
  assert.equal(countWords([alarm({ state: "shelved" })]), "");
  assert.equal(countWords([alarm({ priority: "high" }), alarm({ state: "acknowledged" })]), "2 alarms stand, 1 of them urgent; 1 to be acknowledged.");
  assert.equal(countWords([alarm({ state: "returned" })]), "No alarm stands; 1 to be acknowledged.");
});

test("more alarms than a person can follow are said to be so", () => {
  assert.equal(floodWords({ times: 2, seconds: 600, flood: false }), "2 alarms were raised in the last 10 minutes.");
  assert.match(floodWords({ times: 11, seconds: 600, flood: true }), /more than one person can follow/);
  assert.equal(floodWords(null), "");
});

test("the journal says what became of an alarm, and by whom", () => {
  const event = { type: "alarm-set", alarm: "device-lost/lighting", cause: "shelve", now: { state: "shelved", by: "ada", why: "known", text: "x" } };
  assert.equal(eventWords(VENUE, event), "Alarm \u201cDevice lost: Lighting\u201d was shelved by ada (known)");
  assert.equal(eventWords(VENUE, { ...event, cause: "raise" }), "Alarm: x");
  assert.equal(alarmName("device-lost/lighting"), "Device lost: Lighting");
  const venue = /** @type {any} */ ({ partitions: { "a-b": { name: "North wall", between: ["a", "b"] } }, controllers: { "a-wall": { name: "Panel at the door" } } });
  assert.equal(alarmName("panel-lost/a-wall", venue), "Panel lost: Panel at the door");
  assert.equal(alarmName("turn-late/a-b", venue), "Wall late for a booking: North wall");
  assert.equal(alarmName("fence/a-b", venue), "Open between two bookings: North wall");
  assert.equal(alarmName("feed/events-office", venue), "Calendar: Events office");
  assert.equal(alarmName("journal", venue), "Journal");
  assert.equal(priorityWords(alarm({ priority: "high" })), "Urgent");
  assert.equal(speaks(alarm({ state: "returned" })), false);
});
