/**
 * Draws the floor plan: zones, the outline of each group, walls with what is known of them. Each zone is a real button
 * (or a plain box, for who only watches) cut to the zone's shape, so that fingers, keyboards and screen readers find it.
 *
 * @typedef {import("../src/types.js").Venue} Venue
 * @typedef {import("../src/types.js").Point} Point
 * @typedef {import("../src/types.js").Wall} Wall
 *
 * @typedef {object} ZoneLook
 * @property {string[]} lines       what to say under the name
 * @property {boolean} [on]         lit
 * @property {boolean} [asked]
 * @property {boolean} [disabled]
 * @property {string} [label]       for a screen reader, where the lines do not say it all
 * @property {boolean} [pressed]
 *
 * @typedef {{from: string, to: string}} Arrow  What goes from one zone to another; the words are among the lines of the second.
 */
import { zoneName } from "../src/format.js";
import { arrowPath, bounds, centre, merged, pathOf } from "../src/plan-geometry.js";
import { make, makeSvg, setAll, setText, sheetOf } from "./dom.js";

export const planSheet = sheetOf(`
.plan { position: relative; width: 100%; margin: 0 auto; }
.plan[data-empty] { display: none; }
svg { position: absolute; inset: 0; width: 100%; height: 100%; overflow: visible; pointer-events: none; }
svg * { vector-effect: non-scaling-stroke; fill: none; }
.room { fill: var(--pane); stroke: var(--line); stroke-width: 1px; }
.room[data-look="0"] { fill: color-mix(in srgb, var(--rl-group-a, #c39be0) 20%, transparent); }
.room[data-look="1"] { fill: color-mix(in srgb, var(--rl-group-b, #57b9b4) 20%, transparent); }
.room[data-look="2"] { fill: color-mix(in srgb, var(--rl-group-c, #e0976c) 20%, transparent); }
.room[data-look="3"] { fill: color-mix(in srgb, var(--rl-group-d, #d887ad) 20%, transparent); }
.room[data-on] { fill: var(--lit); }
.said { position: absolute; transform: translate(-50%, -50%); padding: 1px 6px; background: var(--rl-ground, #14110e); font-size: 0.9375rem; line-height: 1.25; width: max-content; max-width: max(6em, 40%); text-align: center; pointer-events: none; }
.said[data-upright] { max-width: none; max-height: var(--long); height: max-content; width: auto; writing-mode: vertical-rl; padding: 6px 1px; }
.plan[data-small] .said { display: none; }
.said[data-odd]::before { content: "\\25B3\\00a0"; color: var(--mark); font-weight: 700; }
.room[data-focus] { stroke: var(--focus); stroke-width: 4px; }
.group { stroke-width: 14px; fill: none; }
.group[data-look="0"] { stroke: var(--rl-group-a, #c39be0); }
.group[data-look="1"] { stroke: var(--rl-group-b, #57b9b4); stroke-dasharray: 18 7; }
.group[data-look="2"] { stroke: var(--rl-group-c, #e0976c); stroke-dasharray: 4 6; }
.group[data-look="3"] { stroke: var(--rl-group-d, #d887ad); stroke-dasharray: 18 5 4 5; }
.wall { stroke: var(--ink); stroke-width: 6px; }
.casing { stroke: var(--rl-ground, #14110e); stroke-width: 14px; }
.casing[data-position="open"] { stroke-width: 5px; }
.wall[data-position="open"] { stroke-width: 1.5px; stroke-dasharray: 3 7; }
.wall[data-apart] { stroke-width: 4px; stroke-dasharray: 12 6; }
.wall[data-position="moving"] { stroke-width: 5px; stroke-dasharray: 22 10; }
.wall[data-position="unknown"] { stroke-width: 5px; stroke-dasharray: 2 8; stroke: var(--mark); }
.wall[data-trust="pinned"] { stroke-width: 9px; }
.wall[data-trust="pinned"][data-position="open"] { stroke-width: 3px; }
.arrow { stroke: var(--ink); stroke-width: 3px; stroke-linejoin: round; stroke-linecap: round; }
.zone { position: absolute; display: flex; padding: 0; overflow: hidden; touch-action: manipulation; user-select: none; -webkit-user-select: none; }
.zone:focus-visible { outline: none; }
.text { position: absolute; transform: translate(-50%, -50%); width: max-content; max-width: 86%; text-align: center; padding: 4px; line-height: 1.25; }
.text b { display: block; font-weight: 500; font-size: clamp(1.125rem, 5cqi, 1.75rem); overflow-wrap: anywhere; }
.text span { display: block; font-size: 1rem; }
/* Where the room is small on the plan: first without the last line, then in one run, then less and less of it. */
.zone:is([data-tight="1"], [data-tight="3"]) .text span:last-child:not(:nth-child(2)), .zone[data-tight="4"] .text span:nth-of-type(n + 2), .zone[data-tight="5"] .text span { display: none; }
.zone[data-tight]:not([data-tight="1"]) .text :is(b, span) { font-size: 1rem; }
.zone[data-tight]:not([data-tight="1"]) .text b { display: inline; font-weight: 700; }
.zone:is([data-tight="2"], [data-tight="3"]) .text span:not(:last-child), .zone[data-tight="2"] .text span, .zone[data-tight="4"] .text span:first-of-type { display: inline; }
.zone:is([data-tight="2"], [data-tight="3"], [data-tight="4"]) .text b:not(:only-child)::after { content: ":"; }
.zone[data-tight="2"] .text span:not(:last-child)::after, .zone[data-tight="3"] .text span:not(:last-child, :nth-last-child(2))::after { content: ","; }
.zone[data-on] .text span:first-of-type::before { content: "\\2713\\00a0"; }
.zone[data-on] { color: var(--on-lit); }
.zone[data-asked] { background: var(--hatch); }
.zone[aria-disabled="true"] .text { opacity: 0.75; }
button.zone:active:not([aria-disabled="true"]) { background: var(--hatch); }
.holder { container-type: inline-size; }
.others { display: flex; flex-wrap: wrap; gap: 8px; margin-top: 12px; }
.others:empty { display: none; }
.others .zone { position: relative; flex: 1 1 9rem; min-height: max(64px, var(--target)); border: 1px solid var(--line); justify-content: center; align-items: center; }
.others .zone[data-on] { background: var(--lit); }
.others .zone .text { position: static; transform: none; }
`);

/**
 * @param {number} metres
 * @param {number} whole
 */
function percent(metres, whole) {
  return `${((100 * metres) / whole).toFixed(3)}%`;
}

/** Outline styles there are; with more groups than that they repeat, and the words tell them apart. */
const LOOKS = 4;
/** On a plan narrower than this what is written at walls would hide the rooms; it is said in sentences, too. */
const SMALL_PX = 240;
/** What outlines of groups and walls take of a room's height. */
const OUTLINES_PX = 16;

export class PlanView {
  /** @param {((zone: string) => void) | null} onPick  null draws boxes instead of buttons */
  constructor(onPick) {
    this.onPick = onPick;
    this.svg = makeSvg("svg", { "aria-hidden": "true" });
    this.rooms = makeSvg("g");
    this.casings = makeSvg("g");
    this.outlines = makeSvg("g");
    this.walls = makeSvg("g");
    this.arrows = makeSvg("g");
    this.svg.append(this.rooms, this.casings, this.outlines, this.walls, this.arrows);
    this.plan = make("div", { class: "plan", part: "plan" }, this.svg);
    /** zones without an outline have no place on the plan, and still must be there */
    this.others = make("div", { class: "others" });
    this.node = make("div", { class: "holder" }, this.plan, this.others);
    this.sizes = new ResizeObserver(() => this.#fit());
    this.sizes.observe(this.plan);
    /** @type {Map<string, {box: HTMLElement, lines: HTMLElement, room: SVGPathElement | null}>} */
    this.zones = new Map();
    /** @type {Map<string, HTMLElement>} what is written at the walls, above the rooms */
    this.labels = new Map();
    /** @type {Venue | null} */
    this.venue = null;
  }

  /**
   * Whether the place is clearly deeper than it is wide, and all of it is on the plan.
   * @param {Venue} venue
   */
  deep(venue) {
    const zones = Object.values(venue.zones);
    const box = bounds(zones.flatMap((zone) => zone.outline ?? []));
    return box !== null && box.height > 1.2 * box.width && zones.every((zone) => zone.outline);
  }

  /**
   * @param {Venue} venue
   * @param {string[][]} groups
   * @param {Record<string, Wall>} walls
   * @param {(zone: string) => ZoneLook} look
   * @param {(wall: string) => string} [say]  what to write at a wall; nothing unless told
   * @param {Arrow[]} [arrows]
   */
  draw(venue, groups, walls, look, say, arrows = []) {
    if (venue !== this.venue) this.#build(venue);
    const said = [...this.zones].map(([id, parts]) => this.#paintZone(venue, id, parts, look(id)));
    if (said.includes(true)) this.#fit();
    this.#paintGroups(venue, groups);
    this.#paintArrows(venue, arrows);
    for (const [id, label] of this.labels) {
      const text = say?.(id) ?? "";
      setText(label, text);
      setAll(label, { hidden: text === "", "data-odd": walls[id]?.position === "unknown" || !!walls[id]?.flagged });
    }
    for (const line of [...this.casings.children, ...this.walls.children]) {
      const wall = walls[/** @type {SVGElement} */ (line).dataset.wall ?? ""];
      setAll(line, { "data-position": wall?.position ?? "unknown", "data-trust": wall?.trust ?? "unknown", "data-apart": !!wall?.division });
    }
  }

  /** @param {Venue} venue */
  #build(venue) {
    this.venue = venue;
    this.zones.clear();
    this.plan.replaceChildren(this.svg);
    for (const group of [this.rooms, this.casings, this.outlines, this.walls]) group.replaceChildren();
    delete this.outlines.dataset.key;
    delete this.arrows.dataset.key;
    this.others.replaceChildren();
    this.labels.clear();
    const all = Object.values(venue.zones).flatMap((zone) => zone.outline ?? []);
    const box = bounds(all);
    setAll(this.plan, { "data-empty": box === null });
    const frame = box ?? { x: 0, y: 0, width: 1, height: 1 };
    setAll(this.svg, { viewBox: `${frame.x} ${frame.y} ${frame.width} ${frame.height}`, preserveAspectRatio: "none" });
    this.plan.style.aspectRatio = `${frame.width} / ${frame.height}`;
    // A deep plan is made narrower rather than taller than the screen.
    this.plan.style.maxWidth = `calc(var(--rl-plan-height, 60vh) * ${(frame.width / frame.height).toFixed(4)})`;
    for (const [id, zone] of Object.entries(venue.zones)) this.#buildZone(id, zone.outline, frame);
    for (const [id, wall] of Object.entries(venue.partitions)) {
      if (!wall.line) continue;
      const [[x1, y1], [x2, y2]] = wall.line;
      const d = `M${x1} ${y1}L${x2} ${y2}`;
      // The casing keeps a wall visible between two lit zones.
      this.casings.append(makeSvg("path", { class: "casing", "data-wall": id, d }));
      this.walls.append(makeSvg("path", { class: "wall", "data-wall": id, d }));
      const label = make("span", { class: "said", part: "wall", "data-wall": id, "data-upright": Math.abs(y2 - y1) > Math.abs(x2 - x1) });
      // Standing words are no longer than their wall.
      label.style.setProperty("--long", percent(Math.abs(y2 - y1), frame.height));
      label.style.left = percent((x1 + x2) / 2 - frame.x, frame.width);
      label.style.top = percent((y1 + y2) / 2 - frame.y, frame.height);
      this.labels.set(id, label);
    }
    this.plan.append(...this.labels.values());
  }

  /**
   * @param {string} id
   * @param {Point[] | null} outline
   * @param {import("../src/plan-geometry.js").Box} frame
   */
  #buildZone(id, outline, frame) {
    const lines = make("span", { class: "text" });
    const box = make(this.onPick ? "button" : "div", { class: "zone", part: "zone", "data-zone": id }, lines);
    if (this.onPick) {
      setAll(box, { type: "button" });
      box.addEventListener("click", () => box.getAttribute("aria-disabled") !== "true" && this.onPick?.(id));
    }
    const own = outline && bounds(outline);
    let room = null;
    if (outline && own) {
      room = makeSvg("path", { class: "room", d: pathOf([outline]) });
      this.rooms.append(room);
      box.style.left = percent(own.x - frame.x, frame.width);
      box.style.top = percent(own.y - frame.y, frame.height);
      box.style.width = percent(own.width, frame.width);
      box.style.height = percent(own.height, frame.height);
      box.style.clipPath = `polygon(${outline.map(([x, y]) => `${percent(x - own.x, own.width)} ${percent(y - own.y, own.height)}`).join()})`;
      const [cx, cy] = centre(outline);
      lines.style.left = percent(cx - own.x, own.width);
      lines.style.top = percent(cy - own.y, own.height);
      this.plan.append(box);
    } else {
      this.others.append(box);
    }
    const path = room;
    box.addEventListener("focus", () => path && box.matches(":focus-visible") && setAll(path, { "data-focus": true }));
    box.addEventListener("blur", () => path && setAll(path, { "data-focus": false }));
    this.zones.set(id, { box, lines, room });
  }

  /**
   * @param {Venue} venue
   * @param {string} id
   * @param {{box: HTMLElement, lines: HTMLElement, room: SVGPathElement | null}} parts
   * @param {ZoneLook} look
   * @returns {boolean} whether the words are others than before
   */
  #paintZone(venue, id, { box, lines, room }, look) {
    const name = zoneName(venue, id);
    const texts = [name, ...look.lines];
    const changed = lines.dataset.text !== texts.join("\n");
    if (changed) {
      lines.dataset.text = texts.join("\n");
      lines.replaceChildren(...texts.flatMap((text, i) => [make(i === 0 ? "b" : "span", {}, text), " "]));
    }
    setAll(box, { "data-on": !!look.on, "data-asked": !!look.asked });
    if (this.onPick) {
      setAll(box, {
        "aria-label": [name, look.label ?? look.lines.join(", ")].filter(Boolean).join(": "),
        "aria-pressed": look.pressed === undefined ? null : String(look.pressed),
        "aria-disabled": String(!!look.disabled),
      });
    }
    if (room) setAll(room, { "data-on": !!look.on });
    return changed;
  }

  /** Says less where a room is too small on the plan for all of it; a screen reader still hears everything. */
  #fit() {
    setAll(this.plan, { "data-small": this.plan.clientWidth > 0 && this.plan.clientWidth < SMALL_PX });
    for (const { box, lines } of this.zones.values()) {
      for (const tight of [null, "1", "2", "3", "4", "5"]) {
        setAll(box, { "data-tight": tight });
        if (lines.offsetHeight <= box.clientHeight - OUTLINES_PX) break;
      }
    }
  }

  /**
   * An arrow for what goes one way, over what lies between two zones.
   * @param {Venue} venue
   * @param {Arrow[]} arrows
   */
  #paintArrows(venue, arrows) {
    const key = JSON.stringify(arrows);
    if ((this.arrows.dataset.key ?? "[]") === key) return;
    this.arrows.dataset.key = key;
    const all = bounds(Object.values(venue.zones).flatMap((zone) => zone.outline ?? []));
    this.arrows.replaceChildren(
      ...arrows.flatMap(({ from, to }) => {
        const [a, b] = [venue.zones[from]?.outline, venue.zones[to]?.outline];
        if (!a || !b || !all) return [];
        const d = arrowPath(centre(a), centre(b), Math.min(all.width, all.height) / 30);
        return [makeSvg("path", { class: "arrow", "data-from": from, "data-to": to, d })];
      }),
    );
  }

  /**
   * @param {Venue} venue
   * @param {string[][]} groups
   */
  #paintGroups(venue, groups) {
    const joined = groups.filter((group) => group.length > 1);
    const key = JSON.stringify(joined);
    if (this.outlines.dataset.key === key) return;
    this.outlines.dataset.key = key;
    for (const [id, { room }] of this.zones) {
      const look = joined.findIndex((group) => group.includes(id));
      if (room) setAll(room, { "data-look": look < 0 ? null : String(look % LOOKS) });
    }
    this.outlines.replaceChildren(
      ...joined.flatMap((group, i) => {
        const outlines = group.flatMap((id) => (venue.zones[id]?.outline ? [/** @type {Point[]} */ (venue.zones[id]?.outline)] : []));
        const d = pathOf(merged(outlines));
        // Stroked inside its own outline: two groups side by side keep a line each.
        const clip = makeSvg("clipPath", { id: `group-${i}` }, makeSvg("path", { d }));
        return [clip, makeSvg("path", { class: "group", "data-look": String(i % LOOKS), d, "clip-path": `url(#group-${i})` })];
      }),
    );
  }
}
