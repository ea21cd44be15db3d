/** People, panels and tokens: seen and changed by engineers; everybody else is told which role that needs. */
import { make, setAll, setText } from "../../elements/dom.js";
import { dateTime } from "../../src/commissioning.js";
import { controllerName } from "../../src/format.js";
import { request } from "../../src/entry.js";
import { byId } from "../byid.js";

/** @typedef {import("../../src/types.js").Venue} Venue */
/** @typedef {{role: string, since: string, by: string, sessions: {since: string, last: string, where: string}[]}} Person */
/** @typedef {{controller?: string, role?: string, since: string, last: string | null, until: string | null, by: string, where: string}} Key */

/** @param {Venue} venue */
export async function startAccess(venue) {
  const zone = venue.venue.timezone;
  const note = byId("access-note");
  const who = await request(fetch, "GET", "session").catch(() => null);
  if (who?.open) return setText(note, "The service was started for this machine alone: nobody signs in, and everybody may do everything.");
  if (who?.role !== "engineer") {
    return setText(note, `People, panels and tokens need the role engineer${who?.role ? `; you have the role ${who.role}` : ""}.`);
  }
  byId("access-parts").hidden = false;
  byId("panel-controller").append(...Object.keys(venue.controllers).map((id) => make("option", { value: id }, controllerName(venue, id))));

  /** @type {(work: () => Promise<unknown>) => Promise<void>} */
  const tried = async (work) => {
    setText(note, "");
    try {
      const said = await work();
      await draw();
      if (typeof said === "string") setText(note, said);
    } catch (error) {
      setText(note, /** @type {Error} */ (error).message);
    }
  };
  /** @type {(label: string, about: string, method: string, path: string, sure?: string | null) => HTMLElement} */
  const action = (label, about, method, path, sure = null) => {
    const button = make("button", { type: "button", class: "plain", "aria-label": `${label}: ${about}` }, label);
    button.addEventListener("click", () => {
      // What cannot be undone by a touch is not done by one.
      if (sure === null || button.dataset.sure !== undefined) void tried(() => request(fetch, method, path));
      else setAll(button, { "data-sure": true, "aria-label": `${sure} ${about}` });
      if (sure !== null) setText(button, sure);
    });
    button.addEventListener("blur", () => {
      setAll(button, { "data-sure": null, "aria-label": `${label}: ${about}` });
      setText(button, label);
    });
    return button;
  };
  const when = (/** @type {string | null | undefined} */ at) => (at ? dateTime(at, zone) : "\u2014");

  const draw = async () => {
    const [{ people }, { panels }, { tokens }] = await Promise.all(["people", "panels", "tokens"].map((path) => request(fetch, "GET", path)));
    table("people-table", ["Name", "Role", "Signed in", "Newest use", ""], Object.entries(/** @type {Record<string, Person>} */ (people)).map(([name, one]) => [
      name,
      one.role,
      one.sessions.length ? `${one.sessions.length}, from ${[...new Set(one.sessions.map((each) => each.where))].join(", ")}` : "no",
      when(one.sessions.map((each) => each.last).sort().at(-1)),
      [action("Sign out", name, "DELETE", `people/${name}/sessions`), action("Remove", name, "DELETE", `people/${name}`, "Really remove?")],
    ]));
    table("panel-table", ["Panel", "Works", "Paired", "Newest use", ""], Object.entries(/** @type {Record<string, Key>} */ (panels)).map(([name, one]) => [
      name,
      controllerName(venue, one.controller ?? ""),
      `${when(one.since)} by ${one.by}`,
      one.last ? `${when(one.last)} from ${one.where}` : "\u2014",
      [action("Take back", name, "DELETE", `panels/${name}`, "Really take back?")],
    ]));
    table("token-table", ["Integration", "Role", "Made", "Ends", "Newest use", ""], Object.entries(/** @type {Record<string, Key>} */ (tokens)).map(([name, one]) => [
      name,
      one.role ?? "",
      `${when(one.since)} by ${one.by}`,
      one.until ? when(one.until) : "never",
      one.last ? `${when(one.last)} from ${one.where}` : "\u2014",
      [action("Take back", name, "DELETE", `tokens/${name}`, "Really take back?")],
    ]));
  };

  onSubmit("person-form", tried, async ({ name, role, password }, form) => {
    await request(fetch, "PUT", `people/${encodeURIComponent(name ?? "")}`, { ...(role ? { role } : {}), ...(password ? { password } : {}) });
    form.reset();
    const given = [role ? `the role ${role}` : "", password ? "this password" : ""].filter(Boolean);
    return given.length ? `${name} has ${given.join(" and ")} now.` : `Nothing of ${name} was changed.`;
  });
  onSubmit("panel-form", tried, async ({ controller, name }, form) => {
    const made = await request(fetch, "POST", "pairing-codes", { controller, ...(name ? { name } : {}) });
    form.reset();
    once("pairing", `For the panel ${made.panel}: open ${location.origin}/pair on it, or let its camera read this. Good once, until ${when(made.until)}.`, made.code, made.picture);
  });
  onSubmit("token-form", tried, async ({ name, role, days }, form) => {
    const made = await request(fetch, "POST", "tokens", { name, role, ...(days ? { days: Number(days) } : {}) });
    form.reset();
    once("token", `The token of ${name}, shown this once. A program sends it as Authorization: Bearer.`, made.token);
  });
  await tried(async () => {});
}

/**
 * @param {string} id
 * @param {(work: () => Promise<unknown>) => Promise<void>} tried
 * @param {(values: Record<string, string>, form: HTMLFormElement) => Promise<unknown>} send
 */
function onSubmit(id, tried, send) {
  const form = /** @type {HTMLFormElement} */ (byId(id));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const values = /** @type {Record<string, string>} */ (Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, String(value).trim()])));
    void tried(() => send(values, form));
  });
}

/**
 * What is seen once.
 * @param {string} id
 * @param {string} about
 * @param {string} secret
 * @param {string} [picture]
 */
function once(id, about, secret, picture) {
  const place = byId(`${id}-once`);
  place.hidden = false;
  const image = picture ? [make("img", { src: picture, alt: "The code as a picture, to be read by a camera" })] : [];
  place.replaceChildren(make("p", {}, about), make("code", { id: `${id}-secret` }, secret), ...image);
}

/**
 * @param {string} id
 * @param {string[]} heads
 * @param {(string | HTMLElement[])[][]} rows
 */
function table(id, heads, rows) {
  byId(id).replaceChildren(
    make("thead", {}, make("tr", {}, ...heads.map((head) => (head ? make("th", { scope: "col" }, head) : make("td", {}))))),
    make("tbody", {}, ...rows.map(([first, ...rest]) => make("tr", {}, make("th", { scope: "row" }, String(first)), ...rest.map((cell, i) => make("td", { "data-head": heads[i + 1] || null }, ...(typeof cell === "string" ? [cell] : cell)))))),
  );
}
