/** The panel of one controller, composed from what the venue says that its zones have. */
import "../roomlink.js";
import { make } from "../elements/dom.js";
import { sections } from "../src/compose.js";
import { capitalised, controllerName } from "../src/format.js";
import { isElsewhere } from "../src/travel.js";
import { byId, pageSession } from "./byid.js";
import { layInColumns } from "./columns.js";

const ELEMENTS = { choice: "rl-choice", level: "rl-level", switch: "rl-switch", momentary: "rl-momentary", motion: "rl-motion" };

const session = pageSession();
const work = byId("work");

function compose() {
  const { venue, controller, store } = session;
  const here = controller === null ? undefined : venue?.controllers[controller];
  if (!venue || controller === null || !here) return;
  const name = controllerName(venue, controller);
  byId("here").textContent = `${venue.venue.name} \u2014 ${name}`;
  document.title = `${name}, ${venue.venue.name}`;
  // What only another room has and keeps for its own panel cannot be used here: it is not shown.
  const kept = (/** @type {string} */ control) => {
    const feedback = store.face.controls[control];
    return !!feedback && feedback.decided === false && !feedback.mixed && !(control in (venue.zones[here.home]?.controls ?? {}));
  };
  const plan = sections(venue, here.home, store.face.links.map((link) => link.zone), (zone, control) => isElsewhere(store.view.microphones, zone, control))
    .map(({ section, controls }) => ({ section, controls: controls.filter(({ name: control }) => !kept(control)) }))
    .filter(({ controls }) => controls.length > 0);
  // What is drawn already stays: taking a control out from under a finger would let go of it.
  const key = JSON.stringify(plan);
  if (work.dataset.key === key) return;
  work.dataset.key = key;
  work.replaceChildren(
    ...plan.map(({ section, controls }) =>
      titled(
        capitalised(section),
        ...controls.flatMap(({ name: control, kind }) => {
          // A newer service may know kinds that this kit has no element for.
          if (!(kind in ELEMENTS)) return [];
          const element = document.createElement(ELEMENTS[kind]);
          element.setAttribute("control", control);
          return [element];
        }),
      ),
    ),
  );
}

/** The first scene may be saved while the panel is in use: what is drawn already stays under its finger. */
function offerScenes() {
  const there = work.querySelector("rl-scenes")?.closest("section");
  const any = Object.keys(session.venue?.scenes ?? {}).length > 0;
  if (any && !there) work.append(titled("Scenes", document.createElement("rl-scenes")));
  else if (!any) there?.remove();
}

/**
 * @param {string} title
 * @param {...Node} children
 */
function titled(title, ...children) {
  return make("section", {}, make("h2", {}, title), ...children);
}

layInColumns(work);
const draw = () => {
  compose();
  offerScenes();
};
session.store.subscribe(["face", "zones", "scenes"], draw);
draw();
