/** The arithmetic of a level's scale: fractions, steps and marks, in the level's own unit. */

/**
 * Where a value lies on the range, within 0 and 1.
 * @param {number} value
 * @param {[number, number]} range
 */
export function fraction(value, [lo, hi]) {
  return hi === lo ? 0 : Math.min(1, Math.max(0, (value - lo) / (hi - lo)));
}

/**
 * @param {number} value
 * @param {[number, number]} range
 * @param {number | null | undefined} ceiling
 */
export function clamp(value, [lo, hi], ceiling) {
  return Math.max(lo, Math.min(hi, ceiling ?? hi, value));
}

/**
 * The step of one arrow key: about a hundredth of the range, as 1, 2 or 5 times a power of ten.
 * @param {[number, number]} range
 */
export function keyStep(range) {
  return nice((range[1] - range[0]) / 100);
}

/**
 * Marks to print along the scale: round values, at most `most` of them.
 * @param {[number, number]} range
 * @param {number} most  at least 2
 */
export function marks([lo, hi], most) {
  const step = nice((hi - lo) / (most - 1));
  const first = Math.ceil(lo / step - 1e-9);
  const last = Math.floor(hi / step + 1e-9);
  // Counting in whole steps keeps 0.1 + 0.2 out of the labels.
  return Array.from({ length: last - first + 1 }, (_, i) => Number(((first + i) * step).toPrecision(12)) + 0);
}

/**
 * Rounds a dragged value to what the display can show, so that what is asked is what is read.
 * @param {number} value
 * @param {number} decimals
 */
export function rounded(value, decimals) {
  return Number(value.toFixed(decimals)) + 0;
}

/**
 * The smallest of 1, 2, 5 times a power of ten that is not below the width.
 * @param {number} width
 */
function nice(width) {
  if (!(width > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(width) + 1e-9);
  const factor = [1, 2, 5, 10].find((f) => f * power >= width * (1 - 1e-9)) ?? 10;
  return Number((factor * power).toPrecision(12));
}
