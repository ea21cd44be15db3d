/**
 * Makes a button act while it is held, by fingers or by Space and Enter, and let go whenever they leave it by any way:
 * lifted, slid away by the system, capture lost, focus lost.
 */
import { setAll } from "./dom.js";

/**
 * @param {HTMLElement} button
 * @param {(ended: () => void) => () => void} begin  starts the hold, returns how to end it; calls `ended` if it ends otherwise
 * @returns {() => void} lets go: call it when the button leaves the page, where no event would
 */
export function bindHold(button, begin) {
  /** @type {Set<number | string>} */
  const holders = new Set();
  /** @type {(() => void) | null} */
  let end = null;
  const ended = () => {
    end = null;
    holders.clear();
    setAll(button, { "data-held": false });
  };
  /** @param {number | string} holder */
  const start = (holder) => {
    if (button.getAttribute("aria-disabled") === "true") return;
    holders.add(holder);
    if (end) return;
    setAll(button, { "data-held": true });
    end = begin(ended);
  };
  /** @param {number | string} holder */
  const leave = (holder) => {
    if (!holders.delete(holder) || holders.size > 0) return;
    const stop = end;
    ended();
    stop?.();
  };
  button.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    button.setPointerCapture(event.pointerId);
    start(event.pointerId);
  });
  for (const name of /** @type {const} */ (["pointerup", "pointercancel", "lostpointercapture"])) {
    button.addEventListener(name, (event) => leave(event.pointerId));
  }
  button.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) start("key");
  });
  button.addEventListener("keyup", (event) => (event.key === " " || event.key === "Enter") && leave("key"));
  button.addEventListener("blur", () => leave("key"));
  // A long touch must not open a menu over the finger.
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  return () => {
    for (const holder of [...holders]) leave(holder);
  };
}
