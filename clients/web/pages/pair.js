/** Making this browser a panel. The code may come behind the mark of the address, from a picture; it leaves it at once. */
import { setText } from "../elements/dom.js";
import { request } from "../src/entry.js";
import { byId } from "./byid.js";

const form = /** @type {HTMLFormElement} */ (byId("pair"));
const field = /** @type {HTMLInputElement} */ (form.elements.namedItem("code"));
const trouble = byId("trouble");

function take() {
  if (location.hash.length <= 1) return;
  field.value = decodeURIComponent(location.hash.slice(1));
  // A code is no secret for long, but it need not stay in the history of a screen on the wall.
  history.replaceState(null, "", location.pathname);
}
take();
// Where this page is open already, another picture changes nothing but the mark.
addEventListener("hashchange", take);

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  trouble.hidden = true;
  try {
    const { controller } = await request(fetch, "POST", "pairings", { code: field.value.trim() });
    location.replace(`/panel/${encodeURIComponent(controller)}`);
  } catch (error) {
    trouble.hidden = false;
    setText(trouble, /** @type {Error} */ (error).message);
  }
});
