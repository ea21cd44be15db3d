/** Locks in words, and what they keep at a panel. */
import assert from "node:assert/strict";
import { test } from "node:test";
import { concerns, lockBody, lockKey, lockName, lockOver, lockWords } from "../src/locks.js";

const LOCK = { name: "quiet", zone: "heron", controller: null, controls: [], by: "robin", since: "2026-11-07T19:00:00Z", until: null, pin: true, why: "" };
const VENUE = /** @type {any} */ ({
  venue: { timezone: "UTC" },
  zones: { heron: { name: "Heron", controls: { volume: { name: "Volume" } } }, plover: { name: "Plover", controls: {} } },
  controllers: { "heron-wall": { name: "Heron panel", home: "heron" } },
});

test("a control is locked where all its rooms are, or its panel is", () => {
  assert.equal(lockOver({ quiet: LOCK }, "heron-wall", "volume", ["heron"]), "quiet");
  assert.equal(lockOver({ quiet: LOCK }, "heron-wall", "volume", ["heron", "plover"]), null);
  assert.equal(lockOver({ quiet: LOCK }, "heron-wall", "volume", []), null);
  assert.equal(lockOver({ quiet: { ...LOCK, controls: ["mute"] } }, "heron-wall", "volume", ["heron"]), null);
  const panel = { ...LOCK, zone: null, controller: "heron-wall", controls: ["volume"] };
  assert.equal(lockOver({ panel }, "heron-wall", "volume", ["heron", "plover"]), "panel");
  assert.equal(lockOver({ panel }, "plover-wall", "volume", ["heron"]), null);
});

test("a panel has to do with locks on itself and on its rooms", () => {
  const face = /** @type {any} */ ({ links: [{ zone: "heron" }] });
  assert.equal(concerns(LOCK, "plover-wall", face), true);
  assert.equal(concerns({ ...LOCK, zone: "plover" }, "plover-wall", face), false);
  assert.equal(concerns({ ...LOCK, zone: null, controller: "plover-wall" }, "plover-wall", face), true);
});

test("a lock says what it keeps, by whom and until when", () => {
  assert.equal(lockWords({ quiet: LOCK }, "quiet", VENUE), "Quiet: Heron is locked by robin until it is released.");
  const some = { ...LOCK, name: "Evening level", controls: ["volume"], until: "2026-11-07T22:30:00Z", why: "speech" };
  assert.equal(lockWords({ quiet: some }, "quiet", VENUE), "Evening level: Volume of Heron is locked by robin until 22:30 (speech).");
  const two = { ...LOCK, controls: ["volume", "mute"], by: "http 10.0.0.7" };
  assert.equal(lockWords({ quiet: two }, "quiet", VENUE), "Quiet: Volume and Mute of Heron are locked by somebody at 10.0.0.7 until it is released.");
  const panel = { ...LOCK, zone: null, controller: "heron-wall" };
  assert.equal(lockWords({ quiet: panel }, "quiet", VENUE), "Quiet: Heron panel is locked by robin until it is released.");
  const kept = { ...LOCK, by: "", why: "" };
  assert.equal(lockWords({ quiet: kept }, "quiet", VENUE), "Quiet: Heron is locked until it is released.", "where a private booking is");
  assert.equal(lockWords({}, "quiet", VENUE), "");
  assert.equal(lockName({}, "main-door"), "Main door");
});

test("a new lock is named as people call it, and never like one that stands", () => {
  assert.equal(lockKey({}, "Opening speech!", "zone heron"), "opening-speech");
  assert.equal(lockKey({}, "", "zone heron"), "heron");
  assert.equal(lockKey({ heron: LOCK, "heron-2": LOCK }, "", "zone heron"), "heron-3");
});

test("a lock is asked for with what was given of it, and nothing else", () => {
  const given = (/** @type {Record<string, string>} */ of) => ({ get: (/** @type {string} */ name) => of[name] ?? "" });
  assert.deepEqual(lockBody("zone heron", ["volume"], given({ for: "1800", pin: " 2468 ", why: "speech" })), { zone: "heron", controls: ["volume"], for: 1800, pin: "2468", why: "speech" });
  assert.deepEqual(lockBody("controller heron-wall", [], given({})), { controller: "heron-wall" });
});
