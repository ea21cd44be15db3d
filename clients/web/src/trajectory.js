/**
 * Where a level on the move is. It is sent once, as from, to, start and duration, and drawn from the service's clock.
 *
 * @typedef {import("./types.js").Moving} Moving
 * @typedef {import("./types.js").Feedback} Feedback
 */

/**
 * The value at an instant: `from` before the start, exactly `to` at the end and after.
 * @param {Moving} moving
 * @param {number} nowMs  the service's milliseconds since 1970
 */
export function trajectoryValue(moving, nowMs) {
  const elapsed = (nowMs - Date.parse(moving.start)) / 1000;
  if (elapsed >= moving.seconds) return moving.to;
  if (elapsed <= 0) return moving.from;
  return moving.from + ((moving.to - moving.from) * elapsed) / moving.seconds;
}

/**
 * Whether the trajectory still has somewhere to go.
 * @param {Moving | null | undefined} moving
 * @param {number} nowMs
 */
export function isUnderWay(moving, nowMs) {
  return !!moving && (nowMs - Date.parse(moving.start)) / 1000 < moving.seconds;
}

/**
 * The level that a feedback shows now, or null if the policy yields none.
 * @param {Feedback | undefined} feedback
 * @param {number} nowMs
 * @returns {number | null}
 */
export function shownLevel(feedback, nowMs) {
  if (!feedback || feedback.decided === false) return null;
  if (feedback.moving) return trajectoryValue(feedback.moving, nowMs);
  return typeof feedback.value === "number" ? feedback.value : null;
}
