/** `<rl-plan>` in a watching connection: every zone, group and wall, linked to nothing. */
import { requestShort, useWords } from "../src/bookings.js";
import { controlName, controllerName, listedShort, valueWords, wallShort } from "../src/format.js";
import { shownLevel } from "../src/trajectory.js";
import { flowLines } from "../src/travel.js";
import { RlElement } from "./base.js";
import { setAll } from "./dom.js";
import { PlanView, planSheet } from "./plan-view.js";

/** More would not fit a small room; the whole of it is in the zone's own card. */
const LINES_MAX = 3;

export class RlPlan extends RlElement {
  /** @override */
  static sheets = [planSheet];

  /** @override */
  topics() {
    return ["zones", "groups", "partitions", "one_way"];
  }

  /** @override */
  build() {
    this.view = new PlanView(null);
    this.root.append(this.view.node);
  }

  /** @override */
  update() {
    const { session, view } = this;
    if (!session?.venue || !view) return;
    const { venue, store } = session;
    setAll(this, { "data-stale": !session.live });
    view.draw(venue, store.view.groups, store.view.partitions, (id) => {
      const zone = store.view.zones[id];
      const values = Object.entries(zone?.controls ?? {}).flatMap(([name, control]) => {
        const spec = venue.zones[id]?.controls[name];
        if (!spec || spec.kind === "momentary") return [];
        const now = control.moving ? Math.max(session.serviceNow(), Date.parse(control.moving.start) + 1000 * control.moving.seconds) : 0;
        const value = spec.kind === "level" ? shownLevel(control, now) : control.pending ?? control.value;
        return [`${controlName(name, spec)} ${valueWords(venue, spec, value)}`];
      });
      const used = zone?.linked_by?.length ? [listedShort(zone.linked_by.map((by) => controllerName(venue, by)))] : zone?.in_use ? [] : ["not in use"];
      const booked = zone?.in_use ? [useWords(zone.in_use, venue.venue.timezone)] : [];
      return { lines: [...booked, ...flowLines(venue, store.view.one_way, id), ...values.slice(0, LINES_MAX), ...used] };
    }, (id) => {
      const wall = store.view.partitions[id];
      return [wallShort(wall), wall?.do_not_move ? "do not move" : "", wall?.requested?.met ? "as asked" : requestShort(wall, venue.venue.timezone)].filter(Boolean).join(", ");
    }, Object.values(store.view.one_way));
  }
}
