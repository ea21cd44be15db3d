/**
 * The look that all elements share: a drawing on glass. Hairlines cross at the corners as on a draughtsman's sheet; what
 * is on is lit; what is asked is hatched and dashed; disagreement is said in words.
 *
 * Pages set the `--rl-*` properties (styles/theme.css does); each has the dark theme's value as a fallback.
 */
import { sheetOf } from "./dom.js";

export const base = sheetOf(`
:host {
  --ink: var(--rl-ink, #f3ece0);
  --faint: var(--rl-faint, #b9ae9e);
  --line: var(--rl-line, rgb(243 236 224 / 0.28));
  --edge: var(--rl-edge, rgb(243 236 224 / 0.5));
  --pane: var(--rl-pane, rgb(243 236 224 / 0.055));
  --pane-edge: var(--rl-pane-edge, rgb(243 236 224 / 0.13));
  --lit: var(--rl-lit, #f4e2bd);
  --on-lit: var(--rl-on-lit, #1d1710);
  --abnormal: var(--rl-abnormal, #ffd23f);
  --mark: var(--rl-abnormal-mark, #ffd23f);
  --on-abnormal: var(--rl-on-abnormal, #1d1710);
  --focus: var(--rl-focus, #ffffff);
  --target: var(--rl-target, 56px);
  --hatch: repeating-linear-gradient(-45deg, transparent 0 7px, color-mix(in srgb, var(--ink) 22%, transparent) 7px 9px);
  display: block;
  color: var(--ink);
  font: 400 1.125rem / 1.35 var(--rl-font, "Optima", "Candara", "Gill Sans Nova", "Noto Sans", "Liberation Sans", sans-serif);
  font-variant-numeric: tabular-nums lining-nums;
  -webkit-tap-highlight-color: transparent;
}
:host([hidden]), [hidden] { display: none !important; }
* { box-sizing: border-box; }
p { margin: 0; }
button { font: inherit; color: inherit; background: none; border: 0; padding: 0; cursor: pointer; text-align: inherit; }
[aria-disabled="true"] { cursor: not-allowed; }
:focus-visible { outline: 3px solid var(--focus); outline-offset: 3px; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); white-space: nowrap; }

.pane { position: relative; padding: 12px 16px 14px; background: linear-gradient(168deg, var(--pane-edge), var(--pane) 46%); }
.pane::before, .pane::after { content: ""; position: absolute; pointer-events: none; border: 0 solid var(--line); }
.pane::before { inset: 0 -7px; border-width: 1px 0; }
.pane::after { inset: -7px 0; border-width: 0 1px; }

.head { display: flex; flex-wrap: wrap; align-items: baseline; gap: 2px 14px; min-height: 32px; }
.name { font-size: 1.125rem; color: var(--faint); }
.state:empty, .words:empty { display: none; }
.words { font-size: 1rem; }
.words:not(:empty)::before { content: "\\2260\\00a0"; font-weight: 700; }
.words.plain::before { content: none; }
.align { min-height: 44px; min-width: 72px; margin: -6px 0 6px auto; padding: 0 14px; border: 1px solid var(--edge); text-align: center; }
.offer { margin: 4px 0 10px; padding-left: 12px; border-left: 4px solid var(--abnormal); }
.offers { display: flex; flex-wrap: wrap; gap: 8px; margin-top: 8px; }
.offers .cell { flex: 1 1 9rem; font-size: 1.125rem; overflow-wrap: break-word; }
.unsent { font-size: 1rem; }
.unsent:empty { display: none; }
.unsent::before { content: "\\25B3\\00a0"; color: var(--mark); font-weight: 700; }
.note { font-size: 1rem; }
.note:not(:empty) { margin-top: 10px; padding: 8px 12px; border-left: 4px solid var(--abnormal); background: var(--pane); }
.note:not(:empty)::before { content: "\\25B3\\00a0\\00a0"; }
.note[data-good] { border-left-color: var(--line); }
.note[data-good]:not(:empty)::before { content: "\\2713\\00a0\\00a0"; }

.cell {
  position: relative; display: flex; align-items: center; justify-content: center; text-align: center;
  min-height: var(--target); min-width: var(--target); padding: 8px 14px; font-size: 1.25rem; line-height: 1.2;
  border: 1px solid var(--edge); touch-action: manipulation; user-select: none; -webkit-user-select: none;
  -webkit-touch-callout: none; overflow-wrap: anywhere;
}
.cell:active:not([aria-disabled="true"]), .cell[data-held] { border-color: var(--ink); box-shadow: inset 0 0 0 2px var(--ink); }
.cell[data-on] { background: var(--lit); color: var(--on-lit); border-color: var(--lit); font-weight: 600; }
.cell[data-asked] { background-image: var(--hatch); border: 2px dashed var(--ink); }
.cell[data-on][data-asked] { background-color: transparent; color: var(--ink); }

/* What is not sent was asked for, and is not so. */
:host([data-disarmed]) .cell[data-on] { background: var(--hatch); color: var(--ink); border: 2px dashed var(--ink); font-weight: 400; }

.cell[aria-disabled="true"] { opacity: 0.6; }
:host([data-still]) .state, :host([data-stale]) .state { opacity: 0.6; }
:host([data-stale]) .pane, :host([data-stale]) .cell { background-image: none; }
:host([data-stale]) .pane::before, :host([data-stale]) .pane::after { border-style: dashed; }
@media (prefers-contrast: more) { :host { --line: currentColor; --faint: var(--ink); } }
`);
