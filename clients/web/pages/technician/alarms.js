/** What is abnormal now, what stands first: overrides that stand count as well. */
import { make, setAll, setText } from "../../elements/dom.js";
import { SHELVES, actionsOf, alarmName, floodWords, priorityWords, ranked, speaks, stateWords } from "../../src/alarms.js";
import { request } from "../../src/entry.js";
import { clockTime, listed, refusalWords, zoneName } from "../../src/format.js";
import { overrideKind, overrideName, overrideWhere } from "../../src/overrides.js";
import { byId } from "../byid.js";

/**
 * @typedef {import("../../src/types.js").Alarm} Alarm
 * @typedef {import("../../src/types.js").Venue} Venue
 */

const FLOOD_AGAIN_MS = 60_000;

/**
 * @param {import("../../src/session.js").Session} session
 * @param {Venue} venue
 */
export function drawAlarms(session, venue) {
  const list = byId("alarm-list");
  const { alarms, overrides } = session.store.view;
  const key = JSON.stringify([alarms, overrides, session.store.seq >= 0]);
  // Somebody may be writing why an alarm is to be shelved.
  if (list.dataset.key === key || list.querySelector("input:focus")) return;
  const others = list.dataset.key !== undefined && list.dataset.key !== key;
  list.dataset.key = key;
  const { timezone } = venue.venue;
  const standing = [
    ...Object.entries(overrides).map(([id, override]) => overrideItem(venue, overrideName(overrides, id), override)),
    ...ranked(alarms).map(([id, alarm]) => alarmItem(venue, id, alarm, timezone)),
  ];
  setAll(list, { "data-any": standing.length > 0 });
  list.replaceChildren(...standing, ...(standing.length === 0 && session.store.seq >= 0 ? [make("li", { class: "none" }, "None stands.")] : []));
  if (others) void drawFlood();
}

/** Asks how many alarms there were of late, now and then: time alone makes them fewer. */
export function startAlarms() {
  const look = async () => {
    if (!document.hidden) await drawFlood();
    window.setTimeout(look, FLOOD_AGAIN_MS);
  };
  void look();
}

async function drawFlood() {
  const note = byId("alarm-note");
  const answer = await request(fetch, "GET", "alarms").catch(() => null);
  setText(note, floodWords(answer?.raised));
  setAll(note, { "data-flood": !!answer?.raised?.flood });
}

/**
 * @param {Venue} venue
 * @param {string} name
 * @param {import("../../src/types.js").Override} override
 */
function overrideItem(venue, name, override) {
  const text = ["stands", overrideWhere(venue, override), override.why ? `(${override.why})` : ""].filter(Boolean).join(" ");
  return make("li", { "data-speaks": true }, make("b", {}, `${overrideKind(override)}: ${name}`), make("span", {}, text), sinceOf(override.since, venue.venue.timezone));
}

/**
 * @param {string} since
 * @param {string} timezone
 */
function sinceOf(since, timezone) {
  return make("time", { datetime: since }, `since ${clockTime(since, timezone)}`);
}

/**
 * @param {Venue} venue
 * @param {string} id
 * @param {Alarm} alarm
 * @param {string} timezone
 */
function alarmItem(venue, id, alarm, timezone) {
  const note = make("p", { class: "sum", role: "status" });
  const where = alarm.zones.length ? ` Concerns ${listed(alarm.zones.map((zone) => zoneName(venue, zone)))}.` : "";
  const often = alarm.count > 1 ? ` Raised ${alarm.count} times.` : "";
  return make(
    "li",
    { "data-speaks": speaks(alarm), "data-priority": alarm.priority, "data-state": alarm.state },
    make("b", {}, `${priorityWords(alarm)}: ${alarmName(id, venue)}`),
    make("span", {}, alarm.text || "It has not been raised yet."),
    sinceOf(alarm.since, timezone),
    make("span", { class: "state" }, `${stateWords(alarm, timezone)}${where}${often}`),
    make("div", { class: "doing" }, ...doing(venue, id, alarm, note)),
    note,
  );
}

/**
 * What may be done to an alarm, as buttons; what needs a reason has a place to write it.
 * @param {Venue} venue
 * @param {string} id
 * @param {Alarm} alarm
 * @param {HTMLElement} note
 */
function doing(venue, id, alarm, note) {
  const name = alarmName(id, venue);
  /** @type {(method: string, what: string, content?: Record<string, unknown>) => Promise<void>} */
  const send = async (method, what, content) => {
    setText(note, "");
    try {
      await request(fetch, method, `alarms/${id.split("/").map(encodeURIComponent).join("/")}/${what}`, content);
    } catch (error) {
      setText(note, refusalWords(error));
    }
  };
  /** @type {(text: string, run: () => void) => HTMLButtonElement} */
  const button = (text, run) => {
    const made = make("button", { type: "button", class: "plain", "aria-label": `${text}: ${name}` }, text);
    made.addEventListener("click", run);
    return made;
  };
  const allowed = actionsOf(alarm);
  const why = make("input", { name: "why", maxlength: "200", placeholder: "why", "aria-label": `Why ${name} is put aside` });
  const reason = () => {
    if (why.value.trim()) return true;
    setText(note, "Say why first.");
    why.focus();
    return false;
  };
  /** @type {(method: string, what: string, content: Record<string, unknown>) => void} */
  const because = (method, what, content) => {
    if (!reason()) return;
    why.blur();
    void send(method, what, { ...content, why: why.value.trim() });
  };
  const aside = [
    ...(allowed.includes("shelve") ? SHELVES.map(([seconds, text]) => button(`Shelve for ${text}`, () => because("POST", "shelve", { for: seconds }))) : []),
    ...(allowed.includes("remove") ? [button("Out of service", () => because("POST", "out-of-service", {}))] : []),
  ];
  return [
    ...(allowed.includes("acknowledge") ? [button("Acknowledge", () => void send("POST", "acknowledge"))] : []),
    ...(allowed.includes("unshelve") ? [button("Unshelve", () => void send("POST", "unshelve"))] : []),
    ...(allowed.includes("return") ? [button("Back into service", () => void send("DELETE", "out-of-service"))] : []),
    ...(aside.length ? [make("details", {}, make("summary", {}, "Put aside"), why, ...aside)] : []),
  ];
}
