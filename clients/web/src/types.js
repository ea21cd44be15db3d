/**
 * The JSON that the service and a browser exchange, as types. Nothing here runs.
 *
 * @typedef {"choice" | "level" | "switch" | "momentary" | "motion"} Kind
 * @typedef {"closed" | "open" | "moving" | "unknown"} Position
 * @typedef {string | number | boolean | null} Value
 *
 * @typedef {object} Spec  What a control is, from GET /venue.
 * @property {Kind} kind
 * @property {string} name        may be empty: then the control's key is shown
 * @property {string} section     what people do with it: sound, picture, light, room or empty
 * @property {string} [scope]
 * @property {string[]} [options]
 * @property {boolean} [allow_none]
 * @property {boolean} [sources]
 * @property {string} [unit]
 * @property {[number, number]} [range]
 * @property {number | null} [ceiling]   no order passes it
 * @property {number} [tolerance]
 * @property {boolean} [hold]            a motion runs only while it is held
 * @property {number} [max_run]          seconds after which a motion stops by itself
 * @property {number} [dead_time]        seconds that it rests before it turns round
 *
 * @typedef {object} Moving  A level on the move, in the service's time.
 * @property {number} from
 * @property {number} to
 * @property {string} start      RFC 3339
 * @property {number} seconds
 * @property {string} curve
 *
 * @typedef {object} Feedback  What a controller shows for a control, or (without the votes) what a zone's control is.
 * @property {Kind} kind
 * @property {Value} value
 * @property {boolean} [decided]
 * @property {boolean} [mixed]
 * @property {string[]} [outliers]
 * @property {Moving | null} [moving]
 * @property {Value} [pending]
 * @property {string[]} [options]
 * @property {string} [by]
 * @property {string} [overridden]        the override that masks it; `value` is then what its output is
 * @property {number} [ducked]            by how much its output is lower while somebody pages, in its unit
 *
 * @typedef {object} Override  A life-safety or lockout input that stands.
 * @property {string} [name]  as the venue calls it
 * @property {string} since   RFC 3339
 * @property {string} why
 * @property {string} kind
 * @property {string[] | null} [zones]   null: all
 *
 * @typedef {object} Lock  What a person has locked.
 * @property {string} name
 * @property {string | null} zone
 * @property {string | null} controller
 * @property {string[]} controls        these alone; all where it is empty
 * @property {string} by
 * @property {string} since             RFC 3339
 * @property {string | null} until      RFC 3339
 * @property {boolean} pin              whether a PIN releases it
 * @property {string} why
 *
 * @typedef {object} Alarm
 * @property {string} kind
 * @property {string} state      unacknowledged, acknowledged, returned, shelved, suppressed or out-of-service
 * @property {boolean} stands    the condition, whatever people have said of it
 * @property {string} priority   high, medium or low
 * @property {string} text
 * @property {string} since      RFC 3339
 * @property {number} count      times that it was raised
 * @property {boolean} chattering
 * @property {string} by         who acknowledged it or put it aside
 * @property {string} why
 * @property {string | null} until   end of shelving, RFC 3339
 * @property {string[]} zones    that it concerns
 *
 * @typedef {{kind: string, priority: string, zones: string[], since: string}} PanelAlarm  What a panel is told of one.
 *
 * @typedef {{zone: string, by: string, reasons: string[], since: string, pickup: string[]}} Link
 *
 * @typedef {object} Face  One controller.
 * @property {string} [controller]
 * @property {Link[]} links
 * @property {boolean} lead
 * @property {{by: string, lock?: string} | null} locked   by another panel, which leads, or by a person's lock
 * @property {Record<string, Feedback>} controls
 * @property {PanelAlarm[]} [alarms]       what concerns its rooms
 * @property {Ending[]} [endings]          bookings of its rooms that end soon
 * @property {Closing[]} [closings]        what routines are about to end in its rooms, or wait to
 *
 * @typedef {object} Ending
 * @property {string} booking
 * @property {string} occurrence
 * @property {string[]} zones
 * @property {string} end                  RFC 3339
 * @property {string | null} free_until    RFC 3339; null: nobody comes after
 * @property {{minutes: number, until: string}[]} offers
 *
 * @typedef {object} Closing
 * @property {string} routine
 * @property {string} name
 * @property {string} zone
 * @property {string} at                   when it comes, RFC 3339
 * @property {string} due                  when it was to come
 * @property {string} why                  what it waits for
 * @property {boolean} warned              it comes soon
 *
 * @typedef {object} Wall  One partition now.
 * @property {Position} position
 * @property {"sensed" | "pinned" | "unknown"} trust
 * @property {boolean} flagged
 * @property {boolean} joins
 * @property {{why: string, by: string, since: string} | null} [do_not_move]
 * @property {"open" | "closed" | null} [pass_door]   the door in it, if it has one that is read
 * @property {Position | null} reported        a new position that has yet to settle
 * @property {string | null} pinned_until
 * @property {Position | null} [sensed]        what its contacts last said, also while a pin stands against it
 * @property {boolean} [mismatched]            it is pinned, and its sensor says otherwise
 * @property {{why: "ask" | "hand" | "apart" | "fence", since: string, by: string | null} | null} [division]   why it is open and does not join its zones
 * @property {WallRequest | null} [requested]  where people shall move it to for a booking
 *
 * @typedef {object} WallRequest
 * @property {"closed" | "open"} position
 * @property {string} by          RFC 3339
 * @property {string} since       RFC 3339
 * @property {string} booking
 * @property {boolean} met        it stands there
 *
 * @typedef {object} InUse  The booking that has a zone now.
 * @property {string} booking
 * @property {string} occurrence
 * @property {string} title       "in use" where it is private
 * @property {boolean} private
 * @property {string} phase       set-up, running or clear-down
 * @property {string} start       RFC 3339
 * @property {string} end         RFC 3339
 *
 * @typedef {object} OneWay  An overflow: `to` may have what is in `from`, and nothing goes back.
 * @property {string} name
 * @property {string} from
 * @property {string} to
 * @property {string[]} carries     sound, picture or both
 * @property {string} since         RFC 3339
 * @property {"booking" | "hand"} ends
 *
 * @typedef {object} Microphone
 * @property {string} name
 * @property {string} zone          where it is now
 * @property {string[]} heard_in    while it is open
 * @property {boolean} radio        it may be used in another zone
 * @property {string[]} zones       those that it may be used in
 * @property {string | null} level  the control that sets its level, if it has one
 * @property {string | null} mute
 *
 * @typedef {object} ZoneState
 * @property {string[]} group
 * @property {string[]} linked_by
 * @property {Record<string, Feedback>} [controls]   only for a watcher; none while a private booking has the zone
 * @property {InUse | null} [in_use]   the booking that has it now
 * @property {boolean} [present]       a sensor says that somebody is there; only where there is one
 *
 * @typedef {object} Move  A wall that people move for a booking, from GET /turns.
 * @property {string} partition
 * @property {string} key
 * @property {Position} from
 * @property {"closed" | "open"} to
 * @property {string | null} not_before    RFC 3339
 * @property {string} not_after            RFC 3339
 * @property {number} minutes              that it takes
 * @property {boolean} [assumed]           nobody has said how many
 * @property {{crew: string, start: string, end: string} | null} planned
 * @property {{who: string, at: string, note: string} | null} tick
 * @property {Position} now
 * @property {boolean} met                 it stands where it shall
 * @property {boolean} late
 * @property {boolean} disagrees           tick and sensor
 * @property {string[]} [after]            walls on the same track that are moved before
 * @property {{why: string, by: string, since: string} | null} [do_not_move]
 * @property {string | null} [alarm]       of its being late, while that stands
 *
 * @typedef {object} Turn
 * @property {string} booking
 * @property {string} occurrence
 * @property {string} title
 * @property {string[]} zones
 * @property {string} people_from          RFC 3339
 * @property {string} begins               RFC 3339, with set-up
 * @property {Move[]} moves
 *
 * @typedef {object} TurnList  A day's turns.
 * @property {string} day                  YYYY-MM-DD
 * @property {string} timezone
 * @property {Record<string, {name: string, from: string, until: string}>} crews
 * @property {boolean | null} feasible     null: nobody knows
 * @property {string} checked
 * @property {Turn[]} turns
 * @property {{text: string, moves: {partition: string, key: string}[], ways: string[]}[]} problems
 *
 * @typedef {[number, number]} Point  metres, y downwards
 *
 * @typedef {object} Venue
 * @property {{id: string, name: string, timezone: string}} venue
 * @property {Record<string, {name: string, type: string, outline: Point[] | null, controls: Record<string, Spec>}>} zones
 * @property {Record<string, {name: string, between: [string, string], line: [Point, Point] | null, simulated: boolean, combine?: "auto" | "ask" | "hand"}>} partitions
 * @property {Record<string, {name: string, home: string, reach: string[] | null}>} controllers
 * @property {Record<string, {name: string, type: string | null, zone: string | null, zones: string[]}>} scenes
 * @property {{lead_order?: string[], others?: string} | null} [combining]
 * @property {Record<string, {name: string}>} [locks]   that are ready by name
 * @property {Record<string, {name: string, walls: Record<string, "open" | "closed">, pin: number}>} [arrangements]   named positions of walls
 * @property {Record<string, {name: string, carries: string[]}>} [venue_sources]   sources that belong to no zone
 * @property {Record<string, {name: string, from: string, to: string, carries: string[]}>} [overflows]   those with a name
 *
 * @typedef {object} Change  What changed, and nothing else.
 * @property {string} type
 * @property {number} seq
 * @property {string} at
 * @property {Partial<Face>} [controller]
 * @property {Record<string, Partial<Face>>} [controllers]
 * @property {Record<string, Partial<ZoneState>>} [zones]
 * @property {Record<string, Wall>} [partitions]
 * @property {string[][]} [groups]
 * @property {Record<string, string>} [leads]           with the groups: who leads those of several zones, by the first of these
 * @property {Record<string, OneWay>} [one_way]
 * @property {Record<string, Microphone>} [microphones]
 * @property {Record<string, Override>} [overrides]
 * @property {Record<string, Lock>} [locks]
 * @property {Record<string, Alarm>} [alarms]           only for a watcher
 * @property {true} [turns]                             the walls that people are to move are others, or were ticked off
 * @property {Venue["scenes"]} [scenes]                 one was saved: all that there are now
 *
 * @typedef {Change & {resumed: boolean, journal?: string, trouble?: string, nodes?: string[]}} Welcome
 * @typedef {{type: "ok", id: string | number, seq: number, zones: string[], at: string}} Ok
 * @typedef {{type: string, title: string, status: number, detail?: string, [more: string]: unknown}} Problem
 *
 * @typedef {object} Timers  Where waiting comes from: the browser's, or a test's.
 * @property {(run: () => void, ms: number) => unknown} set
 * @property {(handle: any) => void} clear
 */

export {};
