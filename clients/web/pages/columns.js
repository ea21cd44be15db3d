/**
 * Lays sections out in columns without moving them in the document: what is under a finger stays under it. Which column
 * a section is in is decided anew only when there are other sections or another number of columns.
 */
import { columnsOf } from "../src/columns.js";

const COLUMN_REM_MIN = 18;
const GAP_PX = 36;

/** @param {HTMLElement} work  whose children are the sections */
export function layInColumns(work) {
  let key = "";
  /** @type {number[]} */
  let columns = [];
  const lay = () => {
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const inner = work.clientWidth - parseFloat(getComputedStyle(work).paddingLeft) * 2;
    const sections = [...work.children].map((each) => /** @type {HTMLElement} */ (each));
    const fits = Math.max(1, Math.floor((inner + GAP_PX) / (COLUMN_REM_MIN * rem + GAP_PX)));
    const heights = sections.map((section) => Math.ceil(section.getBoundingClientRect().height));
    const count = Math.min(fits, sections.length || 1);
    work.style.gridTemplateColumns = `repeat(${count}, minmax(0, 1fr))`;
    // What is not drawn yet has no height to go by.
    const now = `${count} ${heights.map((height) => height > 0).join()}`;
    if (now !== key) {
      key = now;
      columns = columnsOf(heights, count);
    }
    /** @type {number[]} */
    const used = [];
    sections.forEach((section, i) => {
      const column = columns[i] ?? 0;
      const start = used[column] ?? 1;
      used[column] = start + Math.max(1, heights[i] ?? 1);
      section.style.gridArea = `${start} / ${column + 1} / ${used[column]} / ${column + 2}`;
    });
  };
  const sizes = new ResizeObserver(() => requestAnimationFrame(lay));
  sizes.observe(work);
  new MutationObserver(() => {
    key = "";
    for (const section of work.children) sizes.observe(section);
  }).observe(work, { childList: true });
}
