/**
 * An element that the page's own markup has.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`The page lacks #${id}.`);
  return found;
}

/**
 * The session of the page's one connection.
 * @returns {import("../src/session.js").Session}
 */
export function pageSession() {
  const connection = /** @type {import("../elements/connection.js").RlConnection | null} */ (document.querySelector("rl-connection"));
  if (!connection?.session) throw new Error("The page has no connection.");
  return connection.session;
}
