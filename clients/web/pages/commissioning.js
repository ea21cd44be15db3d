/** The commissioning sheet: what is to be checked on site, by whom it was, and the arming of power and motion. */
import { make, setAll, setText } from "../elements/dom.js";
import { HEADINGS, NOTE_ASKED, SIGNS, STANDINGS, dateTime, isLeft, measuredOf, pathOf, recordWords, summaryWords } from "../src/commissioning.js";
import { refusalWords } from "../src/format.js";
import { byId } from "./byid.js";

/**
 * @typedef {import("../src/commissioning.js").Item} Item
 * @typedef {import("../src/commissioning.js").Result} Result
 * @typedef {{class: string, device: string, armed: null | {who: string, at: string, note: string}}} Binding
 * @typedef {object} Row  One item on the page; its form stays while its words change.
 * @property {HTMLElement} node
 * @property {(item: Item, binding: Binding | undefined) => void} paint
 */

const AGAIN_MS = 5000;
const WHO_KEY = "roomlink.who";

const who = /** @type {HTMLInputElement} */ (byId("who"));
const show = /** @type {HTMLSelectElement} */ (byId("show"));
/** @type {Map<string, Row>} */
const rows = new Map();
let timezone = "UTC";
let drawn = "";
/** counts the answers asked for: a late one must not undo what a newer one showed */
let round = 0;

/** @param {string} path @param {RequestInit} [how] @returns {Promise<any>} */
async function ask(path, how = {}) {
  const answer = await fetch(path, { ...how, headers: { accept: "application/json", ...how.headers } });
  const body = await answer.json();
  if (!answer.ok) throw { problem: body };
  return body;
}

/** @param {string} method @param {object} content @returns {RequestInit} */
const sent = (method, content) => ({ method, headers: { "content-type": "application/json" }, body: JSON.stringify(content) });

async function draw() {
  const mine = ++round;
  const trouble = byId("trouble");
  try {
    const [found, { bindings }] = await Promise.all([ask("/api/v1/commissioning"), ask("/api/v1/bindings")]);
    if (found.digest !== drawn) await drawVenue();
    if (mine !== round) return;
    const items = /** @type {Item[]} */ (found.items);
    if (found.digest !== drawn) drawSections(items);
    drawn = found.digest;
    setText(byId("summary"), summaryWords(items));
    setText(byId("digest"), found.digest.slice(0, 16));
    for (const item of items) rows.get(item.item)?.paint(item, item.kind === "binding" ? bindings[item.of] : undefined);
    hideDone(items);
    trouble.hidden = true;
  } catch (error) {
    if (mine !== round) return;
    trouble.hidden = false;
    setText(trouble, error instanceof TypeError ? "The service cannot be reached: what is shown may be old. Trying again." : refusalWords(error));
  }
}

async function drawVenue() {
  const { venue } = await ask("/api/v1/venue");
  timezone = venue.timezone;
  setText(byId("venue"), venue.name);
  document.title = `Commissioning, ${venue.name}`;
}

/** @param {Item[]} items */
function drawSections(items) {
  rows.clear();
  const kinds = Object.keys(HEADINGS).filter((kind) => items.some((item) => item.kind === kind));
  byId("jump").replaceChildren(...kinds.map((kind) => make("a", { href: `#${kind}` }, HEADINGS[kind] ?? kind)));
  byId("sections").replaceChildren(
    ...kinds.map((kind) => {
      const list = make("ol", { class: "items" });
      for (const item of items.filter((one) => one.kind === kind)) {
        const row = makeRow(item);
        rows.set(item.item, row);
        list.append(row.node);
      }
      const nothing = make("p", { class: "nothing", hidden: true }, "Nothing is left to do here.");
      return make("section", { id: kind, "aria-labelledby": `${kind}-title` }, make("h2", { id: `${kind}-title` }, HEADINGS[kind] ?? kind), list, nothing);
    }),
  );
}

/** @param {Item[]} items */
function hideDone(items) {
  const onlyLeft = show.value === "left";
  for (const item of items) {
    const node = rows.get(item.item)?.node;
    // Nothing vanishes from under somebody's fingers.
    if (node) node.hidden = onlyLeft && !isLeft(item) && !node.contains(document.activeElement);
  }
  for (const section of document.querySelectorAll("#sections section")) {
    const any = section.querySelector(".items > li:not([hidden])") !== null;
    setAll(/** @type {Element} */ (section.querySelector(".nothing")), { hidden: any });
  }
}

/** The name that goes with everything put down here; asked for where it is missing. @param {HTMLElement} note */
function nameOrAsk(note) {
  const name = who.value.trim();
  if (!name) {
    setText(note, "Write your name at the top first.");
    who.focus();
  }
  return name;
}

/** @param {Item} item @returns {Row} */
function makeRow({ item: id, title, how, unit }) {
  const key = id.replaceAll("/", ":");
  const mark = make("span", { class: "standing" });
  const record = make("p", { class: "record" });
  const note = make("p", { class: "note", role: "status" });
  const measured = make("input", { inputmode: "decimal", autocomplete: "off", maxlength: "20", "aria-label": `Measured, ${title}` });
  const units = make("input", { value: unit, autocomplete: "off", maxlength: "20", size: "5", "aria-label": `Unit, ${title}` });
  const remark = make("input", { autocomplete: "off", maxlength: "2000", "aria-label": `Note, ${title}` });
  /** @param {Result} result */
  const put = async (result) => {
    setText(note, "");
    const name = nameOrAsk(note);
    const value = measuredOf(measured.value);
    if (value === undefined) {
      setText(note, `${measured.value} is no number.`);
      measured.focus();
    } else if (NOTE_ASKED[result] && !remark.value.trim()) {
      setText(note, NOTE_ASKED[result] ?? "");
      remark.focus();
    } else if (name) {
      try {
        const content = { result, who: name, note: remark.value, ...(value === null ? {} : { measured: value, unit: units.value }) };
        await ask(pathOf(id), sent("PUT", content));
        measured.value = remark.value = "";
        await draw();
      } catch (error) {
        setText(note, `Not put down. ${refusalWords(error)}`);
      }
    }
  };
  /** @type {(result: Result, text: string) => HTMLElement} */
  const button = (result, text) => {
    const made = make("button", { type: "button", class: "plain", "data-result": result, "aria-label": `${text}: ${title}` }, text);
    made.addEventListener("click", () => void put(result));
    return made;
  };
  const back = button("open", "Take back");
  const form = make(
    "form",
    { class: "entry" },
    make("label", { class: "measured" }, make("span", {}, "Measured"), measured, units),
    make("label", { class: "remark" }, make("span", {}, "Note"), remark),
    make("span", { class: "keys" }, button("pass", "Pass"), button("fail", "Fail"), button("not-applicable", "Does not apply"), back),
  );
  form.addEventListener("submit", (event) => event.preventDefault());
  const arming = make("div", { class: "arming", hidden: true });
  const node = make("li", { id: key, "data-item": id }, make("h3", {}, make("span", {}, title), mark), make("p", { class: "how" }, how), record, form, arming, note);
  const paintArming = id.endsWith("/moves") ? armingPainter(arming, note) : () => {};
  return {
    node,
    paint: (item, binding) => {
      setAll(node, { "data-standing": item.standing });
      if (mark.dataset.standing !== item.standing) {
        mark.dataset.standing = item.standing;
        mark.replaceChildren(make("i", { "aria-hidden": "true" }, SIGNS[item.standing]), make("span", {}, STANDINGS[item.standing]));
      }
      setText(record, recordWords(item, timezone));
      back.hidden = !item.record || item.record.result === "open";
      paintArming(item, binding);
    },
  };
}

/**
 * Who armed a binding of power or motion, and the key that does it; nothing for a signal.
 * @param {HTMLElement} box
 * @param {HTMLElement} note
 * @returns {(item: Item, binding: Binding | undefined) => void}
 */
function armingPainter(box, note) {
  const words = make("p");
  const key = make("button", { type: "button", class: "plain strong" });
  /** @type {{item: Item, binding: Binding} | null} */
  let now = null;
  box.append(words, key);
  key.addEventListener("click", async () => {
    setText(note, "");
    const name = nameOrAsk(note);
    if (!now || !name) return;
    const path = `/api/v1/bindings/${encodeURIComponent(now.item.of)}/arm`;
    try {
      await ask(path, now.binding.armed ? { method: "DELETE" } : sent("POST", { who: name, note: "from the commissioning sheet" }));
      await draw();
    } catch (error) {
      setText(note, refusalWords(error));
    }
  });
  return (item, binding) => {
    box.hidden = !binding || binding.class === "signal";
    if (!binding || box.hidden) return;
    now = { item, binding };
    const { armed } = binding;
    setAll(box, { "data-armed": armed !== null });
    setText(words, armed ? `Armed: ${binding.class}. ${armed.who}, ${dateTime(armed.at, timezone)}` : `Disarmed: ${binding.class} is logged and not sent.`);
    setText(key, armed ? "Disarm" : "Arm: the place is clear");
    setAll(key, { "aria-label": `${key.textContent}, ${item.of}` });
  };
}

try {
  who.value = localStorage.getItem(WHO_KEY) ?? "";
} catch {
  // Storage may be forbidden; the name is then written anew on each visit.
}
who.addEventListener("change", () => {
  try {
    localStorage.setItem(WHO_KEY, who.value.trim());
  } catch {
    // As above.
  }
});
byId("start").addEventListener("submit", (event) => event.preventDefault());
show.addEventListener("change", () => void draw());
byId("print").addEventListener("click", () => window.print());

const look = async () => {
  if (!document.hidden) await draw();
  window.setTimeout(look, AGAIN_MS);
};
void look();
