import assert from "node:assert/strict";
import { test } from "node:test";
import { AGAIN_MS, ASK_EVERY_MS, TurnBook, dayFrom, dayOf, dayWords, inOrder, isDay, moveWords, problemWords, sumWords, turnWords } from "../src/turns.js";
import { Store } from "../src/store.js";
import { VirtualTime, settled } from "./fakes.js";

/** @typedef {import("../src/types.js").Move} Move @typedef {import("../src/types.js").TurnList} TurnList @typedef {import("../src/types.js").Venue} Venue */

const DAY = "2026-11-25";
const VENUE = /** @type {Venue} */ (/** @type {unknown} */ ({
  zones: { heron: { name: "Heron" }, plover: { name: "" } },
  partitions: { "heron-plover": { name: "West wall", between: ["heron", "plover"] } },
}));

/** @param {Partial<Move>} [more] @returns {Move} */
function move(more = {}) {
  return {
    partition: "heron-plover", key: "20261125T140000Z", from: "closed", to: "open", not_before: "2026-11-25T11:00:00Z", not_after: "2026-11-25T14:00:00Z", minutes: 12,
    planned: { crew: "evening", start: "2026-11-25T12:00:00Z", end: "2026-11-25T12:12:00Z" }, tick: null, now: "closed", met: false, late: false, disagrees: false, ...more,
  };
}

/** @param {Move[]} moves @param {Partial<TurnList>} [more] @returns {TurnList} */
function listOf(moves, more = {}) {
  return {
    day: DAY, timezone: "America/Halifax", crews: { evening: { name: "Evening crew", from: "2026-11-25T11:00:00Z", until: "2026-11-25T23:00:00Z" } }, feasible: true, checked: "proved", problems: [],
    turns: [{ booking: "dinner", occurrence: "k", title: "dinner", zones: ["heron", "plover"], people_from: "2026-11-25T14:00:00Z", begins: "2026-11-25T13:00:00Z", moves }], ...more,
  };
}

/** A book over a service that answers when it is told to. */
function bookOver() {
  const time = new VirtualTime();
  /** @type {{path: string, body?: object, answer: (value: any) => void, fail: (error: unknown) => void}[]} */
  const calls = [];
  const call = (/** @type {string} */ path, /** @type {object} */ body) => new Promise((answer, fail) => calls.push({ path, body, answer, fail }));
  let changes = 0;
  const book = new TurnBook({ ask: (path) => call(path, {}), put: call, timers: time.timers, now: time.now, changed: () => void changes++ });
  return { book, time, calls, changes: () => changes };
}

test("a day is asked for at once, and however much happens once a second at most", async () => {
  const { book, time, calls } = bookOver();
  book.show(DAY);
  assert.deepEqual(calls.map(({ path }) => path), [`turns?day=${DAY}`]);
  for (let i = 0; i < 20; i++) book.news();
  calls[0]?.answer(listOf([move()]));
  await settled();
  assert.equal(book.list?.turns.length, 1);
  assert.equal(calls.length, 1);
  time.pass(ASK_EVERY_MS);
  assert.equal(calls.length, 2);
});

test("a tick is seen as asked at once, and until a list that was asked for after its answer has come", async () => {
  const { book, time, calls, changes } = bookOver();
  book.show(DAY);
  calls[0]?.answer(listOf([move()]));
  await settled();
  const before = changes();
  void book.tick(move(), true);
  assert.equal(book.asked.get("heron-plover/20261125T140000Z")?.done, true);
  assert.ok(changes() > before);
  assert.deepEqual([calls[1]?.path, calls[1]?.body], ["turns/heron-plover/20261125T140000Z", { done: true }]);
  time.pass(ASK_EVERY_MS);
  book.news();
  calls[1]?.answer({ seq: 7 });
  await settled();
  // This list was asked for before the answer came: it may be of before.
  calls[2]?.answer(listOf([move()]));
  await settled();
  assert.ok(book.asked.has("heron-plover/20261125T140000Z"));
  calls[3]?.answer(listOf([move({ tick: { who: "Ana", at: "2026-11-25T12:00:00Z", note: "" } })]));
  await settled();
  assert.equal(book.asked.size, 0);
});

test("a tick that is refused is no longer asked, and says why", async () => {
  const { book, calls } = bookOver();
  book.show(DAY);
  calls[0]?.answer(listOf([move()]));
  await settled();
  void book.tick(move(), true);
  calls[1]?.fail({ problem: { type: "/problems/is-over", title: "Refused", status: 409, detail: "that move was due long ago" } });
  await settled();
  assert.equal(book.asked.size, 0);
  assert.equal(book.refused.get("heron-plover/20261125T140000Z"), "that move was due long ago");
});

test("a list that cannot be had is said to be old, and asked for again", async () => {
  const { book, time, calls } = bookOver();
  book.show(DAY);
  calls[0]?.fail(new Error("The service cannot be reached."));
  await settled();
  assert.equal(book.trouble, "The service cannot be reached.");
  time.pass(AGAIN_MS);
  calls[1]?.answer(listOf([]));
  await settled();
  assert.equal(book.trouble, "");
});

test("an answer for another day than is shown is not shown", async () => {
  const { book, calls, time } = bookOver();
  book.show(DAY);
  book.show("2026-11-26");
  calls[0]?.answer(listOf([move()]));
  await settled();
  time.pass(ASK_EVERY_MS);
  assert.equal(book.list, null);
  assert.equal(calls[1]?.path, "turns?day=2026-11-26");
});

test("turns stand in the order in which their walls are due, and those without a wall to move are left out", () => {
  const [late, early] = [move({ not_after: "2026-11-25T16:00:00Z", key: "b" }), move({ key: "a" })];
  const turn = (/** @type {string} */ booking, /** @type {Move[]} */ moves) => ({ ...listOf(moves).turns[0], booking, people_from: "2026-11-25T18:00:00Z" });
  const list = /** @type {TurnList} */ ({ ...listOf([]), turns: [turn("x", [late]), turn("y", []), turn("z", [late, early])] });
  assert.deepEqual(inOrder(list).map(({ booking, moves }) => [booking, moves.map(({ key }) => key)]), [["z", ["a", "b"]], ["x", ["b"]]]);
});

test("a move is told in words and in the venue's time", () => {
  const told = moveWords(VENUE, listOf([move()]), move(), 0, undefined);
  assert.deepEqual(
    [told.wall, told.between, told.what, told.window, told.planned, told.sensor, told.tick, told.late, told.disagrees, told.key],
    ["West wall", "between Heron and Plover", "Open it", "By 10:00, not before 07:00", "Evening crew, 08:00 to 08:12; about 12 minutes", "It stands closed now", "", "", "", "Tick off: it is open"],
  );
  const bare = moveWords(VENUE, listOf([]), move({ planned: null, not_before: null, now: "unknown", to: "closed" }), 0, undefined);
  assert.deepEqual([bare.what, bare.window, bare.planned, bare.sensor], ["Close it", "By 10:00", "No crew has it; about 12 minutes", "Where it stands now is not known"]);
});

test("late, and tick and sensor that disagree, are said in words", () => {
  const at = Date.parse("2026-11-25T14:00:00Z");
  assert.equal(moveWords(VENUE, listOf([]), move({ late: true }), at + 300_000, undefined).late, "Late: it was due at 10:00, 5 minutes ago");
  assert.equal(moveWords(VENUE, listOf([]), move({ late: true }), at + 90 * 60_000, undefined).late, "Late: it was due at 10:00, 1 h 30 min ago");
  const ticked = moveWords(VENUE, listOf([]), move({ disagrees: true, tick: { who: "Ana", at: "2026-11-25T13:30:00Z", note: "stuck for a while" } }), at, undefined);
  assert.equal(ticked.tick, "Ticked off by Ana at 09:30: stuck for a while");
  assert.equal(ticked.sensor, "It stands closed now");
  assert.equal(ticked.disagrees, "Ticked off as open, but it stands closed: look at it");
  assert.match(moveWords(VENUE, listOf([]), move({ disagrees: true, now: "moving" }), at, undefined).disagrees, /it is moving/);
  assert.equal(moveWords(VENUE, listOf([]), move({ met: true, now: "open" }), at, undefined).sensor, "It stands open now, as it should");
});

test("a move outside the day says its date, and what was asked is told apart from what is", () => {
  assert.equal(moveWords(VENUE, listOf([]), move({ not_before: "2026-11-24T22:00:00Z" }), 0, undefined).window, "By 10:00, not before 18:00 (24 Nov)");
  assert.deepEqual([true, false].map((asked) => moveWords(VENUE, listOf([]), move(), 0, asked).state), ["asked", "taking-back"]);
});

test("the sum of a day, its troubles and their ways out", () => {
  assert.equal(sumWords(listOf([])), "No wall needs to be moved on this day.");
  assert.equal(sumWords(listOf([move({ late: true })])), "1 move of walls: none ticked off, 1 late.");
  assert.match(sumWords(listOf([move()], { feasible: null, checked: "no crews" })), /nobody has worked out/);
  const problem = { text: "It cannot be done.", ways: ["start later"], moves: [{ partition: "a", key: "b" }] };
  assert.deepEqual(problemWords(listOf([], { problems: [problem] })), [{ text: "It cannot be done.", ways: ["Start later"], moves: ["a/b"] }]);
  const list = listOf([move()]);
  assert.deepEqual(turnWords(VENUE, list, /** @type {any} */ (list.turns[0])), { title: "Dinner", rooms: "Heron and Plover, people from 10:00; set-up from 09:00" });
});

test("days are the venue's, whatever the clocks do", () => {
  assert.equal(dayOf(Date.parse("2026-11-26T02:00:00Z"), "America/Halifax"), "2026-11-25");
  assert.deepEqual([dayFrom("2026-02-28", 1), dayFrom("2026-03-01", -1), dayFrom("2026-10-31", 1)], ["2026-03-01", "2026-02-28", "2026-11-01"]);
  assert.equal(dayWords("2026-11-25"), "Wednesday 25 November 2026");
  assert.deepEqual(["2026-11-25", "2026-02-30", "25.11.2026", ""].map(isDay), [true, false, false, false]);
});

test("the turns may be others after news of them, of walls, and of a whole new view, and after nothing else", () => {
  const store = new Store(null, (run) => run());
  let heard = 0;
  store.subscribe(["turns"], () => void heard++);
  store.welcome(/** @type {any} */ ({ type: "welcome", seq: 1, at: "", resumed: false, partitions: {} }));
  const first = heard;
  store.change(/** @type {any} */ ({ type: "change", seq: 2, at: "", alarms: {} }));
  assert.deepEqual([heard, store.turns], [first, 1]);
  store.change(/** @type {any} */ ({ type: "change", seq: 3, at: "", turns: true }));
  store.change(/** @type {any} */ ({ type: "change", seq: 4, at: "", partitions: { "heron-plover": {} } }));
  assert.deepEqual([heard, store.turns], [first + 2, 3]);
});
