/** The look of a level, apart from its behaviour. */
import { sheetOf } from "./dom.js";

export const levelSheet = sheetOf(`
.state { font-size: 2rem; line-height: 1.1; font-weight: 300; min-width: 5.2ch; }
:host(:is([data-asked], [data-disarmed])) .state { text-decoration: underline dashed 2px; text-underline-offset: 5px; }
.body { display: flex; gap: 12px; margin-top: 8px; align-items: flex-start; }
.rail { flex: 1; min-width: 0; container-type: inline-size; }
.key { flex: none; width: max(60px, var(--target)); min-height: max(60px, var(--target)); font-size: 2rem; touch-action: none; }
:host([data-still]) .rail, :host([data-stale]) .rail { opacity: 0.6; }
:host([keys="none"]) .key { display: none; }
.track { position: relative; height: max(60px, var(--target)); overflow: hidden; border: 1px solid var(--edge); cursor: ew-resize;
  touch-action: pan-y; user-select: none; -webkit-user-select: none; -webkit-touch-callout: none; }
.fill { position: absolute; inset: 0; transform-origin: left; transform: scaleX(var(--at, 0)); background: var(--lit); opacity: 0.92; }
.edge { position: absolute; top: 0; bottom: 0; left: calc(var(--at, 0) * 100%); width: 0; border-left: 3px solid var(--lit); margin-left: -2px;
  filter: drop-shadow(0 0 7px var(--lit)); }
:host(:is([data-asked], [data-disarmed])) .edge { border-left: 3px dashed var(--ink); filter: none; }
:host(:is([data-asked], [data-disarmed])) .fill { opacity: 0.55; }
:host([data-undecided]:not([data-asked])) .edge, :host([data-undecided]) .fill { display: none; }
:host([data-differs]) .track { background: var(--hatch); }
.cap { position: absolute; top: 0; bottom: 0; right: 0; left: calc(var(--at, 1) * 100%); border-left: 2px solid var(--faint);
  background: repeating-linear-gradient(45deg, transparent 0 4px, var(--line) 4px 5px); }
/* A dimension line as on a drawing: a slanted stroke at each figure. */
.scale { position: relative; height: 24px; margin-top: 7px; border-top: 1px solid var(--faint); color: var(--faint); font-size: 0.9375rem; }
.mark { position: absolute; top: 4px; left: calc(var(--at) * 100%); transform: translateX(-50%); }
.mark::before { content: ""; position: absolute; left: 50%; top: -11px; height: 13px; border-left: 2px solid var(--faint); transform: rotate(35deg); }
/* Where it is short only the ends have figures; the strokes stay. */
@container (max-width: 8.5rem) { .mark:not(:first-child, :last-child) { font-size: 0; } .mark:not(:first-child, :last-child)::before { height: 13px; } }

:host([orientation="vertical"]) .body { flex-direction: column-reverse; align-items: stretch; }
:host([orientation="vertical"]) .rail { container-type: normal; display: flex; gap: 10px; height: var(--rl-level-length, 260px); flex: none; }
:host([orientation="vertical"]) .track { flex: 1; height: 100%; cursor: ns-resize; touch-action: pan-x; }
:host([orientation="vertical"]) .fill { transform-origin: bottom; transform: scaleY(var(--at, 0)); }
:host([orientation="vertical"]) .edge { left: 0; right: 0; top: auto; width: auto; bottom: calc(var(--at, 0) * 100%); border-left: 0; border-top: 3px solid var(--lit); margin: 0 0 -2px; }
:host([orientation="vertical"]:is([data-asked], [data-disarmed])) .edge { border-left: 0; border-top: 3px dashed var(--ink); }
:host([orientation="vertical"]) .cap { left: 0; top: 0; bottom: calc(var(--at, 1) * 100%); border-left: 0; border-bottom: 2px solid var(--faint); }
:host([orientation="vertical"]) .key { width: auto; }
:host([orientation="vertical"]) .scale { width: 3.2ch; height: 100%; margin: 0; border-top: 0; border-left: 1px solid var(--faint); }
:host([orientation="vertical"]) .mark { left: 8px; top: auto; bottom: calc(var(--at) * 100%); transform: translateY(50%); }
:host([orientation="vertical"]) .mark::before { left: -9px; top: 50%; margin-top: -6px; }
:host([orientation="vertical"]) .mark:first-child { transform: none; }
:host([orientation="vertical"]) .mark:last-child { transform: translateY(100%); }
`);
