import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const PLAN = readFileSync(new URL("../elements/plan-view.js", import.meta.url), "utf8");
/** How strongly rooms of a group are tinted, of one. */
const GROUP_TINT = Number(PLAN.match(/--rl-group-a, #\w+\) (\d+)%/)?.[1]) / 100;
const CSS = readFileSync(new URL("../styles/theme.css", import.meta.url), "utf8");

/** @param {string} hex */
function luminance(hex) {
  const [r, g, b] = [1, 3, 5].map((i) => {
    const part = parseInt(hex.slice(i, i + 2), 16) / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * Number(r) + 0.7152 * Number(g) + 0.0722 * Number(b);
}

/** @param {string} a @param {string} b */
function contrast(a, b) {
  const [high, low] = [luminance(a), luminance(b)].sort((x, y) => y - x);
  return (Number(high) + 0.05) / (Number(low) + 0.05);
}

/**
 * A property of a theme as it looks: what is not opaque is mixed with what it lies on.
 * @param {string} block @param {string} name @param {string} [under]
 */
function colour(block, name, under = "#000000") {
  const value = block.match(new RegExp(`--rl-${name}: ([^;]+);`))?.[1] ?? "";
  const parts = value.match(/^rgb\((\d+) (\d+) (\d+) \/ ([\d.]+)\)$/);
  if (!parts) return value;
  const alpha = Number(parts[4]);
  const mixed = [1, 2, 3].map((i) => Math.round(Number(parts[i]) * alpha + parseInt(under.slice(2 * i - 1, 2 * i + 1), 16) * (1 - alpha)));
  return `#${mixed.map((part) => part.toString(16).padStart(2, "0")).join("")}`;
}

test("contrast is reckoned as WCAG 2.2 has it: #767676 on white passes by a hair, #777777 fails", () => {
  assert.ok(Math.abs(contrast("#767676", "#ffffff") - 4.54) < 0.01);
  assert.ok(Math.abs(contrast("#777777", "#ffffff") - 4.48) < 0.01);
});

/** @param {string} over @param {string} under @param {number} alpha */
function tinted(over, under, alpha) {
  const mixed = [1, 3, 5].map((i) => Math.round(parseInt(over.slice(i, i + 2), 16) * alpha + parseInt(under.slice(i, i + 2), 16) * (1 - alpha)));
  return `#${mixed.map((part) => part.toString(16).padStart(2, "0")).join("")}`;
}

for (const [i, theme] of ["dark", "light"].entries()) {
  const block = CSS.split(':root[data-theme="light"]')[i] ?? "";
  test(`the ${theme} theme's words have 4.5:1 and its edges and signs 3:1, on bare ground and on the brightest glass`, () => {
    for (const ground of [colour(block, "ground"), colour(block, "ground-far")]) {
      for (const under of [ground, colour(block, "pane-edge", ground)]) {
        for (const words of ["ink", "faint", "abnormal-mark"]) assert.ok(contrast(colour(block, words), under) >= 4.5, `${words} on ${under}`);
        for (const sign of ["edge", "safe", "focus", "lit", "group-a", "group-b", "group-c", "group-d"]) {
          assert.ok(contrast(colour(block, sign, under), under) >= 3, `${sign} on ${under}`);
        }
      }
    }
    for (const group of ["group-a", "group-b", "group-c", "group-d"]) {
      for (const ground of ["ground", "ground-far"]) {
        const room = tinted(colour(block, group), colour(block, ground), GROUP_TINT);
        assert.ok(contrast(colour(block, "ink"), room) >= 4.5, `a name in a room of ${group}`);
        assert.ok(contrast(colour(block, "ink"), colour(block, ground)) >= 3, "a wall between rooms");
      }
    }
    assert.ok(contrast(colour(block, "on-lit"), colour(block, "lit")) >= 4.5);
    assert.ok(contrast(colour(block, "on-abnormal"), colour(block, "abnormal")) >= 4.5);
    assert.ok(contrast(colour(block, "on-danger"), colour(block, "danger")) >= 4.5);
    for (const ground of ["ground", "ground-far"]) assert.ok(contrast(colour(block, "danger-mark"), colour(block, ground)) >= 3);
  });
}
