/**
 * The floor plan's geometry, in metres with y downwards: paths, bounds, a place for the name, and the outline of zones
 * that are joined.
 *
 * @typedef {import("./types.js").Point} Point
 * @typedef {{x: number, y: number, width: number, height: number}} Box
 */

/** Corners nearer than this are one corner: outlines are typed in by hand, to the centimetre at best. */
const SNAP_M = 0.005;

/**
 * One SVG path for one or more closed outlines.
 * @param {Point[][]} rings
 */
export function pathOf(rings) {
  return rings
    .filter((ring) => ring.length > 2)
    .map((ring) => `M${ring.map(([x, y]) => `${short(x)} ${short(y)}`).join("L")}Z`)
    .join("");
}

/** @param {number} value */
function short(value) {
  return String(Number(value.toFixed(3)) + 0);
}

/**
 * The smallest box around all points; null without any.
 * @param {Point[]} points
 * @returns {Box | null}
 */
export function bounds(points) {
  if (points.length === 0) return null;
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  const x = Math.min(...xs);
  const y = Math.min(...ys);
  return { x, y, width: Math.max(...xs) - x, height: Math.max(...ys) - y };
}

/**
 * Twice the signed area: positive where the corners run clockwise on screen.
 * @param {Point[]} ring
 */
function doubleArea(ring) {
  return ring.reduce((sum, [x, y], i) => {
    const [nx, ny] = /** @type {Point} */ (ring[(i + 1) % ring.length]);
    return sum + x * ny - nx * y;
  }, 0);
}

/**
 * Where to write the zone's name: the centre of area if it lies inside, else the middle of the widest span inside at
 * half height (an L-shaped room has its centre in the corridor).
 * @param {Point[]} ring
 * @returns {Point}
 */
export function centre(ring) {
  const area = doubleArea(ring);
  const box = bounds(ring) ?? { x: 0, y: 0, width: 0, height: 0 };
  if (Math.abs(area) < 1e-9) return [box.x + box.width / 2, box.y + box.height / 2];
  let cx = 0;
  let cy = 0;
  ring.forEach(([x, y], i) => {
    const [nx, ny] = /** @type {Point} */ (ring[(i + 1) % ring.length]);
    const cross = x * ny - nx * y;
    cx += (x + nx) * cross;
    cy += (y + ny) * cross;
  });
  /** @type {Point} */
  const point = [cx / (3 * area), cy / (3 * area)];
  if (contains(ring, point)) return point;
  return widestSpan(ring, box.y + box.height / 2) ?? point;
}

/**
 * @param {Point[]} ring
 * @param {Point} point
 */
export function contains(ring, [px, py]) {
  let inside = false;
  ring.forEach(([ax, ay], i) => {
    const [bx, by] = /** @type {Point} */ (ring[(i + 1) % ring.length]);
    if (ay > py !== by > py && px < ((bx - ax) * (py - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}

/**
 * @param {Point[]} ring
 * @param {number} y
 * @returns {Point | null}
 */
function widestSpan(ring, y) {
  const crossings = ring
    .flatMap(([ax, ay], i) => {
      const [bx, by] = /** @type {Point} */ (ring[(i + 1) % ring.length]);
      return ay > y !== by > y ? [((bx - ax) * (y - ay)) / (by - ay) + ax] : [];
    })
    .sort((a, b) => a - b);
  /** @type {{width: number, at: Point} | null} */
  let best = null;
  for (let i = 0; i + 1 < crossings.length; i += 2) {
    const from = /** @type {number} */ (crossings[i]);
    const to = /** @type {number} */ (crossings[i + 1]);
    if (!best || to - from > best.width) best = { width: to - from, at: [(from + to) / 2, y] };
  }
  return best?.at ?? null;
}

/**
 * The outline of several zones taken as one: walls that two of them share disappear. Zones that do not touch keep an
 * outline each.
 * @param {Point[][]} rings
 * @returns {Point[][]}
 */
export function merged(rings) {
  const oriented = rings.filter((ring) => ring.length > 2).map((ring) => (doubleArea(ring) < 0 ? [...ring].reverse() : ring));
  const corners = oriented.flat();
  /** @type {Map<string, {from: Point, to: Point}>} */
  const edges = new Map();
  for (const ring of oriented) {
    ring.forEach((from, i) => {
      const to = /** @type {Point} */ (ring[(i + 1) % ring.length]);
      for (const [a, b] of splitAt(from, to, corners)) {
        // The neighbour runs along a shared wall the other way round, so the two cancel.
        const opposite = edgeKey(b, a);
        if (edges.has(opposite)) edges.delete(opposite);
        else edges.set(edgeKey(a, b), { from: a, to: b });
      }
    });
  }
  return chained([...edges.values()]).map(withoutStraightCorners);
}

/** @param {Point} p */
function cornerKey([x, y]) {
  return `${Math.round(x / SNAP_M)},${Math.round(y / SNAP_M)}`;
}

/**
 * @param {Point} a
 * @param {Point} b
 */
function edgeKey(a, b) {
  return `${cornerKey(a)}>${cornerKey(b)}`;
}

/**
 * Cuts an edge wherever a corner of any outline lies on it.
 * @param {Point} from
 * @param {Point} to
 * @param {Point[]} corners
 * @returns {[Point, Point][]}
 */
function splitAt(from, to, corners) {
  const dx = to[0] - from[0];
  const dy = to[1] - from[1];
  const length = Math.hypot(dx, dy);
  if (length < SNAP_M) return [];
  const along = corners
    .filter(([x, y]) => Math.abs((x - from[0]) * dy - (y - from[1]) * dx) / length < SNAP_M)
    .map((corner) => ({ corner, at: ((corner[0] - from[0]) * dx + (corner[1] - from[1]) * dy) / length }))
    .filter(({ at }) => at > SNAP_M && at < length - SNAP_M)
    .sort((a, b) => a.at - b.at);
  const stops = [from, ...along.map(({ corner }) => corner), to];
  return stops.slice(1).flatMap((stop, i) => {
    const before = /** @type {Point} */ (stops[i]);
    return cornerKey(before) === cornerKey(stop) ? [] : [/** @type {[Point, Point]} */ ([before, stop])];
  });
}

/**
 * Puts edges end to end.
 * @param {{from: Point, to: Point}[]} edges
 * @returns {Point[][]}
 */
function chained(edges) {
  /** @type {Map<string, {from: Point, to: Point}[]>} */
  const starting = new Map();
  for (const edge of edges) {
    const key = cornerKey(edge.from);
    starting.set(key, [...(starting.get(key) ?? []), edge]);
  }
  const rings = [];
  for (const edge of edges) {
    /** @type {Point[]} */
    const ring = [];
    let next = starting.get(cornerKey(edge.from))?.includes(edge) ? edge : undefined;
    while (next) {
      const at = cornerKey(next.from);
      starting.set(at, (starting.get(at) ?? []).filter((other) => other !== next));
      ring.push(next.from);
      next = starting.get(cornerKey(next.to))?.[0];
    }
    if (ring.length > 2) rings.push(ring);
  }
  return rings;
}

/** @param {Point[]} ring */
function withoutStraightCorners(ring) {
  return ring.filter((corner, i) => {
    const before = /** @type {Point} */ (ring[(i + ring.length - 1) % ring.length]);
    const after = /** @type {Point} */ (ring[(i + 1) % ring.length]);
    const cross = (corner[0] - before[0]) * (after[1] - corner[1]) - (corner[1] - before[1]) * (after[0] - corner[0]);
    return Math.abs(cross) > 1e-9;
  });
}

/**
 * An arrow between two places, clear of what is written at either.
 * @param {Point} from
 * @param {Point} to
 * @param {number} head  the length of its head
 */
export function arrowPath([x1, y1], [x2, y2], head) {
  const said = (/** @type {number} */ value) => Number(value.toFixed(3));
  /** @type {(part: number) => Point} */
  const on = (part) => [x1 + part * (x2 - x1), y1 + part * (y2 - y1)];
  const [start, end] = [on(0.4), on(0.62)];
  const angle = Math.atan2(y2 - y1, x2 - x1);
  const barbs = [2.6, -2.6].map((turn) => [end[0] + head * Math.cos(angle + turn), end[1] + head * Math.sin(angle + turn)]);
  return [start, end, ...barbs].map(([x = 0, y = 0], i) => (i < 2 ? `${i ? "L" : "M"}${said(x)} ${said(y)}` : `M${said(x)} ${said(y)}L${said(end[0])} ${said(end[1])}`)).join("");
}
