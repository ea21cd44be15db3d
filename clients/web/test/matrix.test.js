import assert from "node:assert/strict";
import { test } from "node:test";
import { linkMatrix, valueMatrix } from "../src/matrix.js";

const LEVEL = { kind: "level", name: "", section: "sound", unit: "dB", range: [-60, 0] };
/** @type {any} */
const VENUE = {
  venue: { id: "t", name: "T", timezone: "UTC" },
  zones: {
    heron: { name: "Heron", type: "s", controls: { volume: LEVEL, program: { kind: "choice", name: "", section: "" } } },
    plover: { name: "Plover", type: "l", controls: { volume: LEVEL } },
  },
  partitions: {},
  controllers: { "heron-wall": { name: "Heron panel", home: "heron", reach: null }, steward: { name: "", home: "plover", reach: null } },
  scenes: {},
};
/** @type {any} */
const VIEW = {
  controllers: {
    "heron-wall": {
      links: [
        { zone: "heron", by: "home", reasons: ["home"], since: "", pickup: [] },
        { zone: "plover", by: "hand", reasons: ["hand", "combining"], since: "", pickup: ["volume"] },
      ],
      lead: true,
      locked: null,
      controls: { volume: { kind: "level", value: -30, mixed: true, outliers: ["plover"] } },
    },
    steward: { links: [], lead: false, locked: { by: "heron-wall" }, controls: {} },
  },
  zones: {
    heron: { group: ["heron", "plover"], linked_by: [], controls: { volume: { kind: "level", value: -30, moving: null }, program: { kind: "choice", value: null, pending: "laptop", overridden: "fire" } } },
    plover: { group: [], linked_by: [], controls: { volume: { kind: "level", value: -12, moving: null } } },
  },
  partitions: {}, groups: [], overrides: {}, alarms: {},
};

test("the links of the venue say for each panel and room why they are linked, and who is in charge", () => {
  const [first, second] = linkMatrix(VENUE, VIEW);
  assert.equal(first?.standing, "lead");
  assert.deepEqual(first?.cells.map((cell) => cell.text), ["home", "by hand, walls open, Volume to be met"]);
  assert.equal(second?.standing, "locked by Heron panel");
  assert.deepEqual(second?.cells.map((cell) => cell.linked), [false, false]);
});

test("the values of the venue mark what a panel shows as differing, and leave out what a room lacks", () => {
  const { columns, rows } = valueMatrix(VENUE, VIEW, 0);
  assert.deepEqual(columns.map((column) => column.name), ["Volume", "Program"]);
  assert.deepEqual(rows[1]?.cells[0]?.differs, ["Heron panel"]);
  assert.deepEqual(rows[0]?.cells[0]?.differs, []);
  assert.equal(rows[0]?.cells[1]?.text, "Laptop, asked");
  assert.equal(rows[0]?.cells[1]?.overridden, "fire");
  assert.equal(rows[1]?.cells[1], null);
});
