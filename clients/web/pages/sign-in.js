/** Coming in: the first engineer, a person's name and password; and for who is in, the way out and another password. */
import { setText } from "../elements/dom.js";
import { onward, request } from "../src/entry.js";
import { byId } from "./byid.js";

const trouble = byId("trouble");

/** @param {unknown} error */
function tell(error) {
  trouble.hidden = !error;
  setText(trouble, error instanceof Error ? error.message : "");
}

/**
 * @param {string} id
 * @param {(values: Record<string, string>, form: HTMLFormElement) => Promise<unknown>} send
 */
function onSubmit(id, send) {
  const form = /** @type {HTMLFormElement} */ (byId(id));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    tell(null);
    const button = form.querySelector("button");
    if (button) button.disabled = true;
    try {
      await send(/** @type {Record<string, string>} */ (Object.fromEntries(new FormData(form))), form);
    } catch (error) {
      tell(error);
    } finally {
      if (button) button.disabled = false;
    }
  });
}

const goOn = () => location.replace(onward(location.search, location.origin));

onSubmit("enter", async ({ name, password }) => {
  await request(fetch, "POST", "session", { name: name?.trim().toLowerCase(), password });
  goOn();
});
onSubmit("first", async ({ code, name, password }) => {
  await request(fetch, "POST", "engineers", { code, name: name?.trim().toLowerCase(), password });
  goOn();
});
onSubmit("leave", async () => {
  await request(fetch, "DELETE", "session");
  await show();
});
onSubmit("change", async ({ password, new: wanted }, form) => {
  await request(fetch, "PUT", "session/password", { password, new: wanted });
  form.reset();
  setText(byId("about"), "The password is changed. Your other sessions have ended.");
});

async function show() {
  const found = await request(fetch, "GET", "session").catch((error) => tell(error));
  if (!found) return;
  const person = found.kind === "person";
  byId("first").hidden = !found.first || person;
  byId("enter").hidden = found.open || person;
  byId("or").hidden = !found.first || person;
  byId("inside").hidden = !(person || found.open);
  byId("leave").hidden = byId("change").hidden = !person;
  for (const each of byId("inside").querySelectorAll("h2")) each.hidden = !person;
  byId("onward").setAttribute("href", onward(location.search, location.origin));
  setText(byId("title"), found.first && !person ? "The first engineer" : person ? "Signed in" : "Sign in");
  setText(byId("about"), aboutWords(found));
  const username = /** @type {HTMLInputElement | null} */ (document.querySelector('[name="username"]'));
  if (username) username.value = person ? found.who : "";
}

/** @param {{kind: string, who: string | null, role: string | null, controller: string | null, open: boolean}} found */
function aboutWords(found) {
  if (found.open) return "Nobody signs in here: the service was started for this machine alone, and everybody may do everything.";
  if (found.kind === "person") return `You are ${found.who}, with the role ${found.role}.`;
  if (found.kind === "panel") return `This browser is paired as ${found.who}, a panel of ${found.controller}.`;
  return "";
}

await show();
