/**
 * One finger on a slider. It starts to act after a few pixels, moves by as much as it is moved, and gives way to
 * scrolling across the slider. A short tap means the place that it touches.
 */

/** A finger that rests is not still: less than this is no drag. */
const START_PX = 6;
/** A finger that is down for longer rests: it is no tap. */
const TAP_MS_MAX = 250;

/**
 * @typedef {object} DragPort
 * @property {() => boolean} vertical
 * @property {() => number | null | undefined} from  where the value is on the track, null for "where the finger is",
 *   undefined when it must not be dragged
 * @property {(part: number) => void} to             where it goes, within 0 and 1
 * @property {() => void} end
 */

/**
 * @param {HTMLElement} track
 * @param {DragPort} port
 */
export function bindDrag(track, port) {
  /** @type {{pointer: number, at: number, from: number, since: number, started: boolean} | null} */
  let drag = null;

  /** @param {PointerEvent} event */
  const place = (event) => {
    const box = track.getBoundingClientRect();
    return port.vertical() ? (box.bottom - event.clientY) / box.height : (event.clientX - box.left) / box.width;
  };
  const length = () => (port.vertical() ? track.clientHeight : track.clientWidth);

  track.addEventListener("pointerdown", (event) => {
    if (drag || event.button !== 0) return;
    const from = port.from();
    if (from === undefined) return;
    const at = place(event);
    drag = { pointer: event.pointerId, at, from: from ?? at, since: event.timeStamp, started: false };
    track.setPointerCapture(event.pointerId);
  });
  track.addEventListener("pointermove", (event) => {
    if (drag?.pointer !== event.pointerId) return;
    const at = place(event);
    if (!drag.started) {
      if (Math.abs(at - drag.at) * length() < START_PX) return;
      drag.started = true;
    }
    port.to(Math.min(1, Math.max(0, drag.from + at - drag.at)));
  });
  for (const name of /** @type {const} */ (["pointerup", "pointercancel", "lostpointercapture"])) {
    track.addEventListener(name, (event) => {
      if (drag?.pointer !== event.pointerId) return;
      const { at, since, started } = drag;
      drag = null;
      if (name === "pointerup" && !started && event.timeStamp - since < TAP_MS_MAX) port.to(Math.min(1, Math.max(0, at)));
      port.end();
    });
  }
}
