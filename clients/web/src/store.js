/**
 * What the service last said, merged message by message, and who wants to hear of which part.
 *
 * Topics: `control:NAME` (a controller's feedback), `face` (links, lead, locked), `zone:ZONE`, `partitions`, `groups`,
 * `one_way`, `microphones`, `overrides`, `locks`, `alarms`, `turns` (what walls are to be moved), and whatever else is touched by name. Listeners are called once a batch, however many of their topics changed.
 *
 * @typedef {import("./types.js").Welcome} Welcome
 * @typedef {import("./types.js").Change} Change
 * @typedef {import("./types.js").Face} Face
 * @typedef {import("./types.js").ZoneState} ZoneState
 * @typedef {import("./types.js").Wall} Wall
 * @typedef {import("./types.js").OneWay} OneWay
 * @typedef {import("./types.js").Microphone} Microphone
 * @typedef {import("./types.js").Override} Override
 * @typedef {import("./types.js").Alarm} Alarm
 * @typedef {import("./types.js").Venue} Venue
 *
 * @typedef {object} View
 * @property {Record<string, Face>} controllers
 * @property {Record<string, ZoneState>} zones
 * @property {Record<string, Wall>} partitions
 * @property {string[][]} groups
 * @property {Record<string, string>} leads   who leads each group of several zones, by the first of these
 * @property {Record<string, OneWay>} one_way
 * @property {Record<string, Microphone>} microphones
 * @property {Record<string, Override>} overrides
 * @property {Record<string, import("./types.js").Lock>} locks
 * @property {Record<string, Alarm>} alarms
 */

/** @returns {View} */
function emptyView() {
  return { controllers: {}, zones: {}, partitions: {}, groups: [], leads: {}, one_way: {}, microphones: {}, overrides: {}, locks: {}, alarms: {} };
}

/** @returns {Face} */
function emptyFace() {
  return { links: [], lead: false, locked: null, controls: {} };
}

/**
 * A level that was on the move then stands where it was then: its trajectory has long ended by now.
 * @param {View} view
 * @returns {View}
 */
function stilled(view) {
  const zones = Object.entries(view.zones).map(([id, zone]) => {
    const controls = Object.entries(zone.controls ?? {}).map(([name, control]) => [name, { ...control, moving: null }]);
    return [id, { ...zone, controls: Object.fromEntries(controls) }];
  });
  return { ...view, zones: Object.fromEntries(zones) };
}

/**
 * @param {string[]} one
 * @param {string[]} other
 */
function same(one, other) {
  return one.length === other.length && one.every((id, at) => id === other[at]);
}

export class Store {
  /**
   * @param {string | null} controller  whose face the messages call `controller`; null for a watcher
   * @param {(run: () => void) => void} [schedule]  when a batch goes out; a microtask unless told otherwise
   */
  constructor(controller, schedule = (run) => queueMicrotask(run)) {
    this.controller = controller;
    this.schedule = schedule;
    this.current = emptyView();
    /** @type {View | null} a view of the past that is shown instead, while somebody looks back */
    this.past = null;
    /** @type {Venue["scenes"] | null} the scenes, where one was saved since the welcome: newer than the venue's own */
    this.scenes = null;
    this.seq = -1;
    /** counts the news after which the day's turns may be others; who shows them asks for them */
    this.turns = 0;
    /** @type {Map<string, Set<() => void>>} */
    this.listeners = new Map();
    /** @type {Set<string>} */
    this.touched = new Set();
    this.everything = false;
    this.scheduled = false;
  }

  /** What is shown: the present, unless somebody looks back. @returns {View} */
  get view() {
    return this.past ?? this.current;
  }

  /** The controller's own face; an empty one before the welcome. */
  get face() {
    return (this.controller !== null && this.view.controllers[this.controller]) || emptyFace();
  }

  /**
   * A resumed welcome leaves the view as it is; any other replaces all of it.
   * @param {Welcome} message
   */
  welcome(message) {
    if (message.resumed) return;
    this.current = emptyView();
    this.scenes = null;
    this.#merge(message);
    this.everything = true;
    this.#flushSoon();
  }

  /** @param {Change} message */
  change(message) {
    this.#merge(message);
  }

  /**
   * Shows the place as it was, or with null as it is; the present goes on being merged behind it.
   * @param {Partial<View> | null} past  as GET /state?at= gives it
   */
  lookBack(past) {
    this.past = past && stilled({ ...emptyView(), ...past });
    this.touchAll();
  }

  /**
   * @param {string[]} topics
   * @param {() => void} listener
   * @returns {() => void} call it to hear no more
   */
  subscribe(topics, listener) {
    for (const topic of topics) {
      const set = this.listeners.get(topic) ?? new Set();
      set.add(listener);
      this.listeners.set(topic, set);
    }
    return () => {
      for (const topic of topics) this.listeners.get(topic)?.delete(listener);
    };
  }

  /**
   * Tells the listeners of these topics, with the next batch.
   * @param {...string} topics
   */
  touch(...topics) {
    for (const topic of topics) this.touched.add(topic);
    this.#flushSoon();
  }

  /** Tells everybody, with the next batch. */
  touchAll() {
    this.everything = true;
    this.#flushSoon();
  }

  /** @param {Change} message */
  #merge(message) {
    this.seq = message.seq;
    if (message.controller && this.controller !== null) this.#mergeFace(this.controller, message.controller);
    for (const [id, part] of Object.entries(message.controllers ?? {})) this.#mergeFace(id, part);
    for (const [id, part] of Object.entries(message.zones ?? {})) {
      const zone = this.current.zones[id] ?? { group: [id], linked_by: [] };
      const controls = part.controls ? { ...zone.controls, ...part.controls } : zone.controls;
      this.current.zones[id] = { ...zone, ...part, ...(controls ? { controls } : {}) };
      this.touch(`zone:${id}`, "zones");
    }
    if (message.partitions) {
      Object.assign(this.current.partitions, message.partitions);
      this.touch("partitions");
    }
    if (message.turns || message.partitions) {
      this.turns++;
      this.touch("turns");
    }
    if (message.groups) {
      this.current.groups = message.groups;
      this.current.leads = message.leads ?? {};
      this.#regroup();
      this.touch("groups");
    }
    if (message.scenes) {
      this.scenes = message.scenes;
      this.touch("scenes");
    }
    for (const part of /** @type {const} */ (["one_way", "microphones", "overrides", "locks", "alarms"])) {
      const standing = message[part];
      if (!standing) continue;
      Object.assign(this.current, { [part]: standing });
      this.touch(part);
    }
    this.touch("seq");
  }

  /** A zone's group is the one that has it; messages tell the groups once and not at each zone. */
  #regroup() {
    const { zones, groups } = this.current;
    for (const group of groups) {
      // Zones of a group share one list, so that what stayed as it was is known without comparing it zone by zone.
      const old = zones[group[0] ?? ""]?.group;
      const list = old && same(old, group) ? old : group;
      for (const id of group) {
        const zone = zones[id];
        if (!zone || zone.group === list) continue;
        zones[id] = { ...zone, group: list };
        this.touch(`zone:${id}`, "zones");
      }
    }
  }

  /**
   * @param {string} id
   * @param {Partial<Face>} part
   */
  #mergeFace(id, part) {
    const face = this.current.controllers[id] ?? emptyFace();
    const { controls, ...rest } = part;
    // With the links come all controls that there are through them: what only a zone had that is linked no more goes.
    const known = part.links ? {} : face.controls;
    this.current.controllers[id] = { ...face, ...rest, controls: { ...known, ...controls } };
    for (const name of Object.keys(controls ?? {})) this.touch(`control:${name}`);
    if (Object.keys(rest).length > 0) this.touch("face");
  }

  #flushSoon() {
    if (this.scheduled) return;
    this.scheduled = true;
    this.schedule(() => {
      this.scheduled = false;
      const topics = this.everything ? [...this.listeners.keys()] : [...this.touched];
      this.everything = false;
      this.touched.clear();
      const due = new Set(topics.flatMap((topic) => [...(this.listeners.get(topic) ?? [])]));
      for (const listener of due) listener();
    });
  }
}
