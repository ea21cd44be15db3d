/**
 * Open walls that do not join their rooms, and named arrangements of walls, in words. Nothing here moves a wall.
 *
 * @typedef {import("./types.js").Wall} Wall
 * @typedef {import("./types.js").Venue} Venue
 * @typedef {{id: string, why: "ask" | "hand" | "apart" | "fence", text: string, combine: boolean, apart: boolean}} Question
 */
import { capitalised, clockTime, listed, personWords, wallName, zoneName } from "./format.js";

/**
 * Why an open wall does not join its rooms: "Kept apart by kim since 18:05." Empty where it does, or is closed.
 * @param {Wall | undefined} wall
 * @param {string} [timezone]
 * @param {Venue | null} [venue]
 */
export function divisionWords(wall, timezone, venue = null) {
  const kept = wall?.division;
  if (!kept) return "";
  const since = `since ${clockTime(kept.since, timezone)}`;
  if (kept.why === "ask") return `Not combined: people are asked ${since}.`;
  if (kept.why === "hand") return `Not combined ${since}: here people combine the rooms by hand.`;
  if (kept.why === "fence") return `Open between two bookings ${since}: nothing is combined until a technician decides.`;
  return `Kept apart on purpose${kept.by ? ` by ${personWords(venue, kept.by)}` : ""} ${since}.`;
}

/**
 * The same as news, after "North wall is open: ".
 * @param {{why?: string, by?: string} | undefined} kept
 */
export function divisionNews(kept) {
  const news = {
    ask: "people are asked whether to combine",
    hand: "it waits to be combined by hand",
    fence: "two bookings lie beside it, and nothing is combined",
  };
  return news[/** @type {keyof typeof news} */ (kept?.why)] ?? `kept apart on purpose${kept?.by ? ` by ${personWords(null, kept.by)}` : ""}`;
}

/**
 * What a stated position is worth where the sensor says otherwise; empty where it does not.
 * @param {Wall | undefined} wall
 */
export function mismatchWords(wall) {
  return wall?.mismatched ? `Stated ${wall.position}, but its sensor says ${wall.sensed}: go and look.` : "";
}

/**
 * The walls of which a panel speaks: those that are open at its group and do not combine, if it leads or nobody does.
 * @param {Venue} venue
 * @param {Record<string, Wall>} walls
 * @param {string[][]} groups
 * @param {{home: string, lead: boolean, locked: boolean, leads: boolean}} here  `leads`: somebody else leads the group
 * @returns {Question[]}
 */
export function questions(venue, walls, groups, here) {
  const group = groups.find((zones) => zones.includes(here.home)) ?? [here.home];
  if (here.locked || (!here.lead && here.leads)) return [];
  return Object.entries(venue.partitions).flatMap(([id, { between }]) => {
    const kept = walls[id]?.division;
    if (!kept || !between.some((zone) => group.includes(zone))) return [];
    const rooms = listed(between.map((zone) => zoneName(venue, zone)));
    const text = {
      ask: `${wallName(venue, id)} is open. Combine ${rooms}?`,
      hand: `${wallName(venue, id)} is open; ${rooms} are combined by hand.`,
      apart: `${wallName(venue, id)} is open, and ${rooms} are kept apart${kept.by ? ` by ${personWords(venue, kept.by)}` : ""}.`,
      fence: `${capitalised(wallName(venue, id))} is open between two bookings: nothing is combined until a technician decides.`,
    }[kept.why];
    return [{ id, why: kept.why, text, combine: kept.why !== "fence", apart: kept.why === "ask" }];
  });
}

/**
 * How a named arrangement stands, in words.
 * @param {Venue} venue
 * @param {Record<string, Wall>} walls
 * @param {{walls: Record<string, string>}} arrangement
 */
export function arrangementWords(venue, walls, arrangement) {
  const ids = Object.keys(arrangement.walls);
  const other = ids.filter((id) => walls[id]?.position !== arrangement.walls[id]);
  const doubted = ids.filter((id) => walls[id]?.mismatched);
  if (other.length === ids.length) return "";
  if (other.length > 0) return `All but ${listed(other.map((id) => wallName(venue, id)))} stand so.`;
  return doubted.length > 0 ? `Stated so, but the sensor says otherwise at ${listed(doubted.map((id) => wallName(venue, id)))}: go and look.` : "It stands so.";
}
