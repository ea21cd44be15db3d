/** Sections of unequal height in columns, in their order, so that the tallest column is as short as can be. */

/**
 * The column of each section, counted from 0.
 * @param {number[]} heights   in any unit, gaps included
 * @param {number} columns     at least 1
 * @returns {number[]}
 */
export function columnsOf(heights, columns) {
  // The least height that holds them is one of the sums of neighbours; there are few sections.
  const sums = heights.flatMap((_, i) => heights.slice(i).map((__, j) => heights.slice(i, i + j + 1).reduce((a, b) => a + b, 0)));
  for (const most of sums.sort((a, b) => a - b)) {
    const found = filled(heights, most);
    if ((found[found.length - 1] ?? 0) < columns) return found;
  }
  return heights.map(() => 0);
}

/**
 * @param {number[]} heights
 * @param {number} most
 */
function filled(heights, most) {
  let column = 0;
  let used = 0;
  return heights.map((height) => {
    if (height > most) return (column = Infinity);
    if (used + height > most) {
      column++;
      used = 0;
    }
    used += height;
    return column;
  });
}
