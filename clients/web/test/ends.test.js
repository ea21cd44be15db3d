import assert from "node:assert/strict";
import test from "node:test";
import { endsOfAll, noticesOf, overHttp } from "../src/ends.js";

/** @type {any} */
const venue = {
  venue: { id: "v", name: "V", timezone: "UTC" },
  zones: { heron: { name: "Heron" }, plover: { name: "Plover" } },
};

test("a booking that ends is told with what may be had instead", () => {
  const [one] = noticesOf(venue, {
    endings: [
      {
        booking: "gala", occurrence: "k", zones: ["heron", "plover"], end: "2026-05-01T22:00:00.000Z", free_until: null,
        offers: [{ minutes: 15, until: "2026-05-01T22:15:00.000Z" }],
      },
    ],
  });
  assert.equal(one?.text, "Heron and Plover: your time ends at 22:00.");
  assert.deepEqual(one?.offers, [{ text: "15 minutes more, until 22:15", more: { type: "extend", booking: "gala", occurrence: "k", minutes: 15 } }]);
});

test("where nothing is free after it that is said", () => {
  const [one] = noticesOf(venue, {
    endings: [{ booking: "gala", occurrence: "k", zones: ["heron"], end: "2026-05-01T22:00:00.000Z", free_until: "2026-05-01T22:00:00.000Z", offers: [] }],
  });
  assert.equal(one?.text, "Heron: your time ends at 22:00. Others have the room after that.");
});

test("rooms that wait for the same routine alike are told together, and only what comes soon is kept on", () => {
  const base = { routine: "all-off", name: "All off", at: "2026-05-01T23:35:00.000Z", due: "2026-05-01T23:30:00.000Z", why: "used at 23:15", warned: true };
  const found = noticesOf(venue, { closings: [{ ...base, zone: "heron" }, { ...base, zone: "plover" }] });
  assert.equal(found.length, 1);
  assert.equal(found[0]?.text, "Heron and Plover: \u201cAll off\u201d comes at 23:35.");
  assert.deepEqual(found[0]?.offers, [{ text: "Keep on", more: { type: "keep-on", routine: "all-off" } }]);
  const [waits] = noticesOf(venue, { closings: [{ ...base, zone: "heron", warned: false }] });
  assert.equal(waits?.text, "Heron: \u201cAll off\u201d waits until 23:35, used at 23:15.");
  assert.deepEqual(waits?.offers, []);
});

test("nothing to tell is nothing", () => {
  assert.deepEqual(noticesOf(venue, {}), []);
});

test("who kept it on is told by the name of the panel", () => {
  const closing = { routine: "all-off", name: "All off", zone: "heron", at: "2026-05-01T23:35:00.000Z", due: "", warned: false };
  const named = { ...venue, controllers: { "heron-wall": { name: "Heron panel", home: "heron" } } };
  assert.match(noticesOf(named, { closings: [{ ...closing, why: "kept on by heron-wall" }] })[0]?.text ?? "", /, kept on by Heron panel\.$/);
});

test("those who watch are told what all panels tell, each once, and order over HTTP", () => {
  const ending = { booking: "gala", occurrence: "k/1", zones: ["heron", "plover"], end: "2026-05-01T22:00:00.000Z", free_until: null, offers: [{ minutes: 15, until: "2026-05-01T22:15:00.000Z" }] };
  const closing = { routine: "all-off", name: "All off", zone: "heron", at: "2026-05-01T23:35:00.000Z", due: "", why: "", warned: true };
  const found = noticesOf(venue, endsOfAll({ a: { endings: [ending], closings: [closing] }, b: { endings: [ending], closings: [closing] }, c: {} }), true);
  assert.deepEqual(found.map(({ text }) => text), ["Heron and Plover: booked until 22:00.", "Heron: \u201cAll off\u201d comes at 23:35."]);
  assert.deepEqual(found.map(({ offers }) => overHttp(offers[0]?.more ?? {})), [
    ["bookings/gala/occurrences/k%2F1/extend", { minutes: 15 }],
    ["routines/all-off/keep-on", {}],
  ]);
});
