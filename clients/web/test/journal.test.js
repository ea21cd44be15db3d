import assert from "node:assert/strict";
import { test } from "node:test";
import { didWords, eventsQuery, eventWords, whoWords } from "../src/journal.js";

/** @type {any} */
const VENUE = {
  venue: { id: "t", name: "T", timezone: "UTC" },
  zones: { heron: { name: "Heron", controls: { volume: { kind: "level", name: "", unit: "dB", range: [-60, 0], tolerance: 0.5 }, screen: { kind: "motion", name: "Screen" } } }, plover: { name: "Plover", controls: {} } },
  partitions: { "heron-plover": { name: "North wall", between: ["heron", "plover"] } },
  controllers: { "heron-wall": { name: "Heron panel" } },
  scenes: {},
};
/** @type {(type: string, more: Record<string, any>) => string} */
const said = (type, more) => eventWords(VENUE, { type, ...more });

test("a filter becomes the query of GET /events, without what it leaves open", () => {
  assert.equal(eventsQuery({ zone: "heron", who: "", type: "wall" }, { limit: "100" }), "zone=heron&type=wall&limit=100");
});

test("events are sentences", () => {
  assert.equal(said("control", { zone: "heron", control: "volume", kind: "level", now: { origin: -30, to: -20, seconds: 2, start: 0 } }), "Heron, volume to \u221220.0\u202fdB in 2.0\u202fs");
  assert.equal(said("control", { zone: "heron", control: "volume", kind: "level", now: { origin: -30, to: -20, seconds: 0, start: 0 } }), "Heron, volume at \u221220.0\u202fdB");
  assert.equal(said("control", { zone: "heron", control: "screen", kind: "motion", now: { running: "close" } }), "Heron, screen: closing");
  assert.equal(said("control", { zone: "heron", control: "program", kind: "choice", now: { value: null, pending: "laptop" } }), "Heron, program: None, then Laptop");
  assert.equal(said("wall", { partition: "heron-plover", now: { position: "open", trust: "pinned", pinned_until: 3600 } }), "North wall: open, stated by hand until 01:00");
  assert.equal(said("regrouped", { groups: [["heron", "plover"]] }), "Heron and Plover are one room");
  assert.equal(said("link", { controller: "heron-wall", zone: "plover", now: { reasons: ["hand"] } }), "Heron panel linked Plover (hand)");
  assert.equal(said("hold-ended", { hold: "x", zones: ["heron"], why: "released" }), "Let go in Heron (released)");
  assert.equal(said("answered", {}), "");
  assert.equal(said("control", { zone: "heron", hidden: true }), "Heron: in private use");
  assert.equal(said("something-new", {}), "Something new");
});

test("who acted is named, and what came with time is said so", () => {
  const entry = { seq: 1, at: "", who: "heron-wall", via: "panel", did: { command: "LinkZone", zone: "plover" }, events: [] };
  assert.equal(whoWords(VENUE, entry), "Heron panel");
  assert.equal(whoWords(VENUE, { ...entry, who: "service", via: "clock" }), "As time passed");
  assert.equal(didWords(entry), "Link zone, plover");
});

test("what was checked on site is said with its result and by whom", () => {
  const now = { result: "fail", who: "A. Technician", note: "the contact bounces" };
  assert.equal(said("checked", { item: "wall/heron-plover/open", now }), "Wall, Heron plover, Open: failed, by A. Technician (the contact bounces)");
});

test("who came in is said, and a use of what stands is no news", () => {
  assert.equal(said("session", { now: { person: "alex", began: 1, last: 1 } }), "alex signed in");
  assert.equal(said("session", { now: { person: "alex", began: 1, last: 9 } }), "");
  assert.equal(said("sign-in-refused", { what: "password", name: "", more: 3 }), "A wrong password, and 3 more");
  assert.equal(said("key", { key: "foh", now: { controller: "heron-wall", last: null } }), "foh was paired with Heron panel");
  assert.equal(said("key", { key: "office", now: { controller: null, role: "manage", last: null } }), "office has a token with the role manage");
  assert.equal(said("key-removed", { key: "foh", why: "taken back by alex" }), "foh is no longer let in (taken back by alex)");
});

test("locks and leads are said as people know them", () => {
  const now = { zone: "heron", controller: null, controls: [], by: "robin", until: 3600, pin: true, why: "" };
  assert.equal(said("lock", { lock: "speech", now }), "Speech: Heron is locked by robin until 01:00");
  assert.equal(said("lock", { lock: "speech", now: { ...now, until: null } }), "Speech: Heron is locked by robin until it is released");
  assert.equal(said("lock-ended", { lock: "speech", why: "released by robin" }), "Speech is no longer locked (released by robin)");
  assert.equal(said("lead", { now: { controller: "heron-wall", why: "taken", by: "robin" } }), "Heron panel has the lead, taken by robin");
  assert.equal(said("lead", { now: { controller: "heron-wall", why: "handed-over" } }), "Heron panel has the lead, as the panel that led is away");
  assert.equal(said("lead-ended", {}), "The lead goes by the lead order again");
  assert.equal(said("panel", { controller: "heron-wall", since: 1 }), "Heron panel: its panel is away");
  assert.equal(said("panel", { controller: "heron-wall", since: null }), "Heron panel: its panel is back");
});

test("the diary's events are sentences", () => {
  const now = { title: "Choir", zones: ["heron", "plover"], status: "confirmed", revision: 1 };
  assert.equal(said("booking", { booking: "b", now }), "Booked: Choir, in Heron and Plover");
  assert.equal(said("booking", { booking: "b", now: { ...now, revision: 3 } }), "Booking changed: Choir, in Heron and Plover");
  assert.equal(said("booking", { booking: "b", now: { ...now, status: "cancelled" } }), "Cancelled: Choir, in Heron and Plover");
  const on = { start: 1_795_696_200, status: "confirmed" };
  assert.equal(said("occurrences", { booking: "b", occurrences: [on] }), "A date of it, on 26 November 2026 at 12:30");
  assert.equal(said("occurrences", { booking: "b", occurrences: [{ ...on, status: "cancelled" }, on, on] }), "2 dates of it, the first on 26 November 2026 at 12:30");
  assert.equal(said("occurrences", { booking: "b", occurrences: [{ ...on, status: "cancelled" }] }), "A date of it cancelled");
  assert.equal(said("phase", { phase: "clear-down", zones: ["heron"] }), "Heron: the guests are gone, clear-down begins");
  assert.equal(said("wall-request", { partition: "heron-plover", now: { position: "closed", by: 1_795_696_200 } }), "North wall is asked to be closed by 12:30");
  assert.equal(said("move-ticked", { partition: "heron-plover", now: { to: "open", who: "kim", note: "at last" } }), "North wall: kim says that it is open (at last)");
  assert.equal(said("closing", { routine: "all-off", zone: "heron", now: { at: 1_795_696_200, why: "somebody is there" } }), "Heron: All off comes at 12:30 (somebody is there)");
  assert.equal(said("presence", { zone: "heron", since: null }), "Heron: nobody is there");
  assert.equal(said("paging", { paging: "desk", now: { by: "heron-wall" } }), "Paging: Desk by Heron panel");
  assert.equal(said("pass-door", { partition: "heron-plover", is_open: true }), "North wall: its pass door is open");
  assert.equal(said("told", { webhook: "pager", upto: 4, failed: [] }), "");
  assert.equal(said("told", { webhook: "pager", upto: 4, failed: [[1, 0, ""]] }), "pager: 1 message is put aside");
});

test("who put an alarm aside is not said to be the cause of what came and went meanwhile", () => {
  const now = { state: "out-of-service", by: "alex", why: "in repair" };
  assert.equal(said("alarm-set", { alarm: "panel-lost/heron-wall", cause: "remove", now }), "Alarm \u201cPanel lost: Heron panel\u201d was taken out of service by alex (in repair)");
  assert.equal(said("alarm-set", { alarm: "panel-lost/heron-wall", cause: "clear", now }), "Alarm \u201cPanel lost: Heron panel\u201d is over");
});

test("an instant among what a command says is left out of its short words", () => {
  assert.equal(didWords(/** @type {any} */ ({ did: { command: "AddKey", key: "scraper", role: "view", until: 1_798_219_503.8 } })), "Add key, scraper, view");
});
