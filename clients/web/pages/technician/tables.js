/** The two tables of the whole venue. Cells are kept and only their words are changed, so that a reader's place stays. */
import { make, setAll, setText } from "../../elements/dom.js";
import { useWords } from "../../src/bookings.js";
import { listed, zoneName } from "../../src/format.js";
import { linkMatrix, valueMatrix } from "../../src/matrix.js";
import { overrideName } from "../../src/overrides.js";
import { byId } from "../byid.js";

/** @typedef {import("../../src/session.js").Session} Session */
/** @typedef {import("../../src/types.js").Venue} Venue */

/**
 * Makes a table's frame once for these heads; gives its body cells by row.
 * @param {HTMLElement} table
 * @param {string} corner
 * @param {string[]} columns
 * @param {string[]} rows
 * @returns {HTMLElement[][]} the cells of each row, its head first
 */
function frame(table, corner, columns, rows) {
  const key = JSON.stringify([columns, rows.length]);
  if (table.dataset.key !== key) {
    table.dataset.key = key;
    table.replaceChildren(
      make("thead", {}, make("tr", {}, ...[corner, ...columns].map((head) => make("th", { scope: "col" }, head)))),
      make("tbody", {}, ...rows.map(() => make("tr", {}, make("th", { scope: "row" }), ...columns.map((head) => make("td", { "data-head": head }))))),
    );
  }
  const lines = [...table.querySelectorAll("tbody tr")].map((row) => /** @type {HTMLElement[]} */ ([...row.children]));
  lines.forEach((line, i) => line[0] && setText(line[0], rows[i] ?? ""));
  return lines;
}

/**
 * @param {Session} session
 * @param {Venue} venue
 */
export function drawLinks(session, venue) {
  const found = linkMatrix(venue, session.store.view);
  const heads = found.map(({ name, standing }) => (standing ? `${name}, ${standing}` : name));
  const lines = frame(byId("link-table"), "Panel", Object.keys(venue.zones).map((zone) => zoneName(venue, zone)), heads);
  found.forEach(({ cells }, row) => {
    cells.forEach(({ text, linked }, column) => {
      const cell = lines[row]?.[column + 1];
      if (!cell) return;
      setText(cell, text);
      setAll(cell, { "data-linked": linked });
    });
  });
}

/** A room, and what it is booked for now. @type {(session: Session, venue: Venue, zone: string) => string} */
function roomHead(session, venue, zone) {
  const use = session.store.view.zones[zone]?.in_use;
  return use ? `${zoneName(venue, zone)}: ${useWords(use, venue.venue.timezone)}` : zoneName(venue, zone);
}

/**
 * @param {Session} session
 * @param {Venue} venue
 * @returns {boolean} whether something is on the move, so that it must be drawn again at the next frame
 */
export function drawValues(session, venue) {
  const { columns, rows } = valueMatrix(venue, session.store.view, session.serviceNow());
  const lines = frame(byId("value-table"), "Room", columns.map(({ name }) => name), rows.map(({ zone }) => roomHead(session, venue, zone)));
  let moving = false;
  /** @type {Set<string>} */
  const differing = new Set();
  rows.forEach(({ zone, cells }, row) => {
    cells.forEach((value, column) => {
      const cell = lines[row]?.[column + 1];
      if (!cell) return;
      moving ||= !!value?.moving;
      if (value?.differs.length) differing.add(zone);
      const notes = [
        value?.differs.length ? `differs on ${listed(value.differs)}` : "",
        value?.overridden ? `held by ${overrideName(session.store.view.overrides, value.overridden)}` : "",
      ].filter(Boolean);
      setAll(cell, { "data-differs": !!value?.differs.length, "data-held": !!value?.overridden, "data-lacks": value === null });
      const text = [value?.text ?? "", ...notes].join("\n");
      if (cell.dataset.text === text) return;
      cell.dataset.text = text;
      cell.replaceChildren(value?.text ?? make("span", { class: "unseen" }, "not here"), ...notes.map((note) => make("small", {}, note)));
    });
  });
  const names = [...differing].map((zone) => zoneName(venue, zone));
  setText(byId("differing"), names.length ? `${listed(names)} ${names.length === 1 ? "differs" : "differ"} from what a panel shows for its rooms.` : "No panel shows rooms that differ.");
  return moving;
}
