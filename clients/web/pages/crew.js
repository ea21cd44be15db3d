/** The crew's page: the walls that people move on a day, and the way to the days beside it. */
import "../roomlink.js";
import { setAll } from "../elements/dom.js";
import { DAY_EVENT } from "../elements/turns.js";
import { dayFrom, dayOf, dayWords, isDay } from "../src/turns.js";
import { byId, pageSession } from "./byid.js";

const session = pageSession();
const asked = new URLSearchParams(location.search).get("day") ?? "";
const turns = /** @type {import("../elements/turns.js").RlTurns} */ (document.querySelector("rl-turns"));

/** @param {string} day */
function show(day) {
  const today = dayOf(session.serviceNow(), session.venue?.venue.timezone);
  byId("day").textContent = dayWords(day);
  document.title = `Crew, ${dayWords(day)}`;
  setAll(byId("before"), { href: `/crew?day=${dayFrom(day, -1)}` });
  setAll(byId("after"), { href: `/crew?day=${dayFrom(day, 1)}` });
  setAll(byId("today"), { "aria-current": day === today ? "date" : null });
  setAll(byId("drawing"), { href: `/day?day=${day}` });
}

turns.addEventListener(DAY_EVENT, (event) => show(/** @type {CustomEvent<string>} */ (event).detail));
if (isDay(asked)) turns.setAttribute("day", asked);
// The element may have chosen its day before this was listening.
if (turns.day) show(turns.day);
session.store.subscribe(["zones"], () => {
  if (session.venue) byId("here").textContent = `${session.venue.venue.name} \u2014 Crew`;
});
