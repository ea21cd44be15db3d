/**
 * How a device's points stand, in words: what is abnormal is told from what merely cannot be confirmed. No DOM.
 *
 * @typedef {object} Place
 * @property {unknown} [wanted]
 * @property {unknown} [sent]
 * @property {unknown} [reported]
 * @property {boolean | null} [confirmed]
 * @property {string | null} [fault]
 *
 * @typedef {{words: string, abnormal: boolean}} Standing
 */

/** Two numbers that a device rounds are still the same. */
const ALIKE = 1e-6;

/**
 * @param {unknown} one
 * @param {unknown} other
 */
function alike(one, other) {
  return one === other || (typeof one === "number" && typeof other === "number" && Math.abs(one - other) <= ALIKE * Math.max(1, Math.abs(one)));
}

/** @param {unknown} value */
function known(value) {
  return value !== null && value !== undefined;
}

/**
 * Only a fault, a lost device or a report that contradicts is abnormal: many devices can say nothing.
 * @param {Place} place
 * @param {boolean} away      the device cannot be reached
 * @param {boolean} disarmed  its binding feeds power or motion and is not armed
 * @returns {Standing}
 */
export function placeStanding(place, away, disarmed) {
  const { wanted, sent, reported, confirmed, fault } = place;
  if (fault) return { words: fault, abnormal: true };
  if (away) return { words: "device lost", abnormal: true };
  if (disarmed) return { words: "disarmed", abnormal: false };
  if (confirmed) return { words: "confirmed", abnormal: false };
  if (known(sent) && known(reported) && alike(sent, wanted) && !alike(reported, sent)) return { words: "reports otherwise", abnormal: true };
  if (known(sent) && alike(sent, wanted)) return { words: "sent", abnormal: false };
  return { words: known(wanted) ? "not sent yet" : "nothing wanted", abnormal: false };
}
