/**
 * What makes a page at home on a wall or in a pocket: it can be installed, starts without the service, keeps the screen
 * on while somebody uses it, and dims when nobody does. A touch on a dimmed page only brings it back.
 *
 * `data-dim` of the document's root says after how many seconds; without it never.
 */
import { make } from "../elements/dom.js";
import { Idle } from "../src/idle.js";

const DIM_S = Number(document.documentElement.dataset.dim ?? 0);
const CLICK_MS_MAX = 400;
/** A moved mouse and a scrolled page are use as well, but wake nothing. */
const USES = ["pointermove", "wheel"];

/** @type {WakeLockSentinel | null} */
let lock = null;

/** The screen stays on while the page is seen; a browser takes that back whenever it is hidden. */
async function keepOn() {
  if (lock || document.hidden || !("wakeLock" in navigator)) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => (lock = null));
  } catch {
    // Low on battery, or not allowed here: the device then does as it always does.
  }
}

function dimming() {
  const veil = make("div", { class: "veil", "aria-hidden": "true", hidden: true });
  document.body.append(veil);
  const timers = { set: (/** @type {() => void} */ run, /** @type {number} */ ms) => window.setTimeout(run, ms), clear: (/** @type {number} */ handle) => window.clearTimeout(handle) };
  /** the finger or key that woke the page: nothing it does until it leaves may act */
  let waking = false;
  const idle = new Idle(timers, DIM_S * 1000, (is) => {
    veil.hidden = !is;
    if (is) void lock?.release();
  });
  /** @param {Event} event */
  const swallow = (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
  };
  /** @type {(name: string, run: (event: Event) => void) => void} */
  const hear = (name, run) => addEventListener(name, run, { capture: true, passive: false });
  /** @param {Event} event */
  const began = (event) => {
    waking = idle.used(1);
    if (waking) swallow(event);
    void keepOn();
  };
  hear("pointerdown", began);
  hear("keydown", (event) => {
    if (/** @type {KeyboardEvent} */ (event).repeat) {
      if (waking) swallow(event);
    } else began(event);
  });
  for (const name of ["pointerup", "pointercancel", "keyup"]) {
    hear(name, (event) => {
      idle.used(-1);
      if (waking) swallow(event);
      // The click of the touch that woke the page comes a moment later; a new touch ends the waiting.
      window.setTimeout(() => (waking = false), CLICK_MS_MAX);
    });
  }
  for (const name of ["click", "mousedown", "mouseup", "touchstart"]) hear(name, (event) => waking && swallow(event));
  for (const name of USES) addEventListener(name, () => !idle.idle && idle.used(), { passive: true });
  // A key or finger that left with the page never comes up.
  addEventListener("blur", () => ((idle.down = 0), (waking = false)));
}

/** A panel installed from its own page opens with it. */
function nameManifest() {
  const panel = location.pathname.match(/^\/panel\/([^/]+)$/)?.[1];
  const href = panel ? `/manifest.webmanifest?panel=${panel}` : "/manifest.webmanifest";
  document.head.append(make("link", { rel: "manifest", href, crossorigin: "use-credentials" }));
}

nameManifest();
if (DIM_S > 0) dimming();
document.addEventListener("visibilitychange", () => void keepOn());
void keepOn();
if ("serviceWorker" in navigator && window.isSecureContext) {
  // Without it the page works as well, as long as the service is there.
  navigator.serviceWorker.register("/sw.js").catch(() => {});
}
