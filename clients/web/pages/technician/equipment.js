/** Devices and bindings: asked for now and then, as no socket tells of them. A service without them answers 404. */
import { make, setAll, setText } from "../../elements/dom.js";
import { clockTime, figure, listed, refusalWords, words, zoneName } from "../../src/format.js";
import { dateTime } from "../../src/commissioning.js";
import { placeStanding } from "../../src/equipment.js";
import { byId } from "../byid.js";

/**
 * @typedef {import("../../src/session.js").Session} Session
 * @typedef {import("../../src/equipment.js").Place} Place
 * @typedef {{what: string | string[], value: unknown, since: string | null}} Input
 * @typedef {{driver: string, up: boolean | null, since?: string | null, why?: string, points?: Record<string, Place>, inputs?: Record<string, Input>}} Device
 * @typedef {{class: string, device: string, control: string, armed: null | {who: string, at: string, note: string}}} Binding
 */

const AGAIN_MS = 5000;

/** @param {Session} session */
export function startEquipment(session) {
  const all = async () => {
    const [devices, bindings] = await Promise.all([ask("devices"), ask("bindings")]);
    drawDevices(session, devices, bindings);
    drawBindings(session, bindings);
  };
  const look = async () => {
    if (!document.hidden) await all();
    window.setTimeout(look, AGAIN_MS);
  };
  void look();
  byId("stop-motion").addEventListener("click", () => void stopMotion());
}

/**
 * @param {string} path
 * @returns {Promise<any>} null where the service has no such thing; undefined where it cannot be reached
 */
async function ask(path) {
  try {
    const answer = await fetch(`/api/v1/${path}`, { headers: { accept: "application/json" } });
    return answer.ok ? await answer.json() : null;
  } catch {
    return undefined;
  }
}

/** @param {unknown} value */
function shown(value) {
  if (value === null || value === undefined) return "\u2014";
  if (typeof value === "number") return figure(value, Number.isInteger(value) ? 0 : 2);
  if (typeof value === "boolean") return value ? "on" : "off";
  return String(value);
}

/**
 * @param {Session} session
 * @param {any} body
 * @param {any} found  what GET /bindings answered
 */
function drawDevices(session, body, found) {
  if (body === undefined) return;
  const bindings = /** @type {Binding[]} */ (Object.values(found?.bindings ?? {}));
  const devices = /** @type {[string, Device][]} */ (Object.entries(body?.devices ?? {}));
  const away = devices.filter(([, device]) => device.up === false);
  const table = byId("device-table");
  setText(byId("device-note"), devices.length === 0 ? "No devices." : away.length ? `${listed(away.map(([name]) => name))} cannot be reached.` : "All can be reached.");
  setAll(/** @type {Element} */ (table.parentElement), { hidden: devices.length === 0 });
  const unarmed = new Set(bindings.filter((each) => each.class !== "signal" && each.armed === null).map((each) => each.device));
  const key = JSON.stringify([devices, [...unarmed]]);
  if (table.dataset.key === key) return;
  table.dataset.key = key;
  const heads = ["Device", "Point", "Wanted", "Sent", "Reported", "Standing"];
  /** @type {(cells: string[], abnormal: boolean) => HTMLTableRowElement} */
  const row = (cells, abnormal) =>
    make("tr", {}, ...cells.map((text, i) => make("td", { "data-head": heads[i + 1] ?? "", "data-differs": i === 4 && abnormal }, text)));
  table.replaceChildren(
    make("thead", {}, make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head)))),
    ...devices.map(([name, device]) => {
      const places = Object.entries(device.points ?? {});
      const inputs = Object.entries(device.inputs ?? {});
      const state = device.up === false ? `away${device.why ? `: ${device.why}` : ""}` : device.up ? "there" : "not tried";
      const head = make("th", { scope: "rowgroup", rowspan: String(Math.max(1, places.length + inputs.length)), "data-away": device.up === false }, name, make("small", {}, `${device.driver}, ${state}`));
      const rows = places.map(([point, place]) => {
        // What is disarmed is the one thing that the service neither wants nor sends.
        const disarmed = unarmed.has(name) && place.wanted === null && place.sent === null;
        const standing = placeStanding(place, device.up === false, disarmed);
        return row([point, shown(place.wanted), shown(place.sent), shown(place.reported), standing.words], standing.abnormal);
      });
      rows.push(...inputs.map(([point, { what, value, since }]) => {
        const heard = since ? `heard since ${clockTime(since, session.venue?.venue.timezone)}` : "not heard yet";
        return row([point, `reads ${listed([what].flat())}`, "\u2014", shown(value), heard], false);
      }));
      if (rows.length === 0) rows.push(make("tr", {}, make("td", { colspan: "5" }, "No points are bound.")));
      rows[0]?.prepend(head);
      return make("tbody", {}, ...rows);
    }),
  );
}

/**
 * @param {Session} session
 * @param {any} body  what GET /bindings answered
 */
function drawBindings(session, body) {
  if (body === undefined) return;
  const all = /** @type {[string, Binding][]} */ (Object.entries(body?.bindings ?? {}));
  const found = all.filter(([, binding]) => binding.class !== "signal");
  const waiting = found.filter(([, binding]) => binding.armed === null).length;
  const list = byId("binding-list");
  const summary = found.length === 0 ? "No binding feeds power or motion." : waiting ? `${waiting} of ${found.length} await arming.` : "All are armed.";
  setText(byId("binding-note"), summary);
  const key = JSON.stringify(found);
  // Somebody may be writing in a form of the list.
  if (list.dataset.key === key || list.contains(document.activeElement)) return;
  list.dataset.key = key;
  list.replaceChildren(...found.map(([name, binding]) => bindingNode(session, name, binding)));
}

/**
 * @param {Session} session
 * @param {string} name
 * @param {Binding} binding
 */
function bindingNode(session, name, { class: kind, device, control, armed }) {
  const [zone = "", part = ""] = control.split(".");
  const note = make("p", { class: "sum", role: "status" });
  /** @type {(method: string, content?: Record<string, string>) => Promise<void>} */
  const send = async (method, content) => {
    setText(note, "");
    try {
      const answer = await fetch(`/api/v1/bindings/${encodeURIComponent(name)}/arm`, {
        method,
        ...(content ? { headers: { "content-type": "application/json" }, body: JSON.stringify(content) } : {}),
      });
      if (!answer.ok) throw { problem: await answer.json() };
      delete byId("binding-list").dataset.key;
      /** @type {HTMLElement | null} */ (document.activeElement)?.blur();
      drawBindings(session, await ask("bindings"));
    } catch (error) {
      setText(note, refusalWords(error));
    }
  };
  const title = make("b", {}, `${zoneName(session.venue, zone)}, ${words(part).toLowerCase()}`);
  const through = make("span", {}, `${kind}, through ${device} (${name})`);
  if (armed) {
    const disarm = make("button", { type: "button", class: "plain", "aria-label": `Disarm ${name}` }, "Disarm");
    disarm.addEventListener("click", () => void send("DELETE"));
    const when = dateTime(armed.at, session.venue?.venue.timezone);
    return make("li", { "data-armed": true }, title, through, make("span", {}, `Armed by ${armed.who}, ${when}${armed.note ? `: ${armed.note}` : ""}`), disarm, note);
  }
  const who = make("input", { name: "who", required: true, autocomplete: "name", maxlength: "200" });
  const what = make("input", { name: "note", maxlength: "2000", placeholder: "what was checked" });
  const arm = make("button", { type: "submit", class: "plain strong", "aria-label": `I have checked it: arm ${name}` }, "I have checked it: arm");
  const form = make("form", {}, make("label", {}, "Your name ", who), make("label", {}, "Note ", what), arm);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void send("POST", { who: who.value, note: what.value });
  });
  return make("li", {}, title, through, make("span", {}, "Awaits arming: logged, not sent."), form, note);
}

async function stopMotion() {
  const note = byId("stop-note");
  try {
    const answer = await fetch("/api/v1/motion/stop", { method: "POST" });
    if (!answer.ok) throw { problem: await answer.json() };
    setText(note, "Stopped.");
  } catch (error) {
    setText(note, refusalWords(error));
  }
}
