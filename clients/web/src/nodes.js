/**
 * Where else a venue is served: when this page's node is gone, it is opened from another one. No DOM.
 *
 * @typedef {object} NodePorts
 * @property {(address: string) => Promise<boolean>} answers  whether a node can be reached
 * @property {(address: string) => void} move                 open this page from there
 */

/**
 * The addresses that a welcome told, but for our own, as origins.
 * @param {unknown} told
 * @param {string} own  the origin of this page
 * @returns {string[]}
 */
export function others(told, own) {
  if (!Array.isArray(told)) return [];
  const found = told.flatMap((one) => (typeof one === "string" && URL.canParse(one) ? [new URL(one).origin] : []));
  return [...new Set(found)].filter((origin) => origin !== own);
}

/**
 * Moves to the first node that answers.
 * @param {string[]} addresses
 * @param {NodePorts} ports
 * @returns {Promise<boolean>} whether one did
 */
export async function moveOn(addresses, ports) {
  for (const address of addresses) {
    if (await ports.answers(address)) {
      ports.move(address);
      return true;
    }
  }
  return false;
}
