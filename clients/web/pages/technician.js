/** Everything that a technician looks for, on one page: alarms, values, links, walls, devices, arming and the journal. */
import "../roomlink.js";
import { byId, pageSession } from "./byid.js";
import { startAccess } from "./technician/access.js";
import { drawAlarms, startAlarms } from "./technician/alarms.js";
import { startEquipment } from "./technician/equipment.js";
import { startJournal } from "./technician/journal.js";
import { startLocks } from "./technician/locks.js";
import { drawLinks, drawValues } from "./technician/tables.js";
import { drawTravel } from "./technician/travel.js";

const session = pageSession();
let journalStarted = false;
let animating = false;

function draw() {
  const { venue } = session;
  // Names, addresses and the journal are not left to whoever comes by: the page is asked for anew, and leads to the sign-in.
  if (session.out) return location.reload();
  if (!venue) return;
  byId("venue").textContent = venue.venue.name;
  document.title = `Technician, ${venue.venue.name}`;
  drawAlarms(session, venue);
  drawLinks(session, venue);
  drawTravel(session, venue);
  const moving = drawValues(session, venue);
  if (!journalStarted) {
    journalStarted = true;
    startJournal(venue);
    void startAccess(venue);
    startLocks(session, venue);
  }
  if (!moving || animating) return;
  animating = true;
  requestAnimationFrame(() => {
    animating = false;
    draw();
  });
}

session.store.subscribe(["zones", "alarms", "overrides", "one_way", "microphones", "face", "seq"], draw);
draw();
startEquipment(session);
startAlarms();
