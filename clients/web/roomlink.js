/** Registers all elements of the kit. Classes and names are apart, so that a page may name its own. */
import { RlAlarms } from "./elements/alarms.js";
import { RlButton } from "./elements/button.js";
import { RlChoice } from "./elements/choice.js";
import { RlConnection } from "./elements/connection.js";
import { define } from "./elements/dom.js";
import { RlLevel } from "./elements/level.js";
import { RlLinks } from "./elements/links.js";
import { RlMomentary } from "./elements/momentary.js";
import { RlMotion } from "./elements/motion.js";
import { RlOverrides } from "./elements/overrides.js";
import { RlPlan } from "./elements/plan.js";
import { RlScenes } from "./elements/scenes.js";
import { RlStatus } from "./elements/status.js";
import { RlSwitch } from "./elements/switch.js";
import { RlTurns } from "./elements/turns.js";
import { RlWalls } from "./elements/walls.js";
import { RlZone } from "./elements/zone-card.js";

// The connection first: what stands inside it looks for its session at once.
define("rl-connection", RlConnection);
define("rl-alarms", RlAlarms);
define("rl-button", RlButton);
define("rl-choice", RlChoice);
define("rl-level", RlLevel);
define("rl-links", RlLinks);
define("rl-momentary", RlMomentary);
define("rl-motion", RlMotion);
define("rl-overrides", RlOverrides);
define("rl-plan", RlPlan);
define("rl-scenes", RlScenes);
define("rl-status", RlStatus);
define("rl-switch", RlSwitch);
define("rl-turns", RlTurns);
define("rl-walls", RlWalls);
define("rl-zone", RlZone);
