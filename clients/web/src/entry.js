/** Asking the service about who may come in; and where to go after. No DOM. */

/**
 * One request. Resolves with the body; rejects with words for a person.
 * @param {typeof fetch} fetching
 * @param {string} method
 * @param {string} path   below `/api/v1/`
 * @param {Record<string, unknown>} [body]
 * @returns {Promise<any>}
 */
export async function request(fetching, method, path, body) {
  const content = body === undefined ? {} : { body: JSON.stringify(body), headers: { "content-type": "application/json", accept: "application/json" } };
  const answer = await fetching(`/api/v1/${path}`, { method, ...content }).catch(() => {
    throw new Error("The service cannot be reached.");
  });
  const found = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(sentence(String(found.detail ?? found.title ?? `The service answered ${answer.status}`)));
  return found;
}

/**
 * What the service says, as a sentence.
 * @param {string} words
 */
export function sentence(words) {
  const text = words.trim();
  return text === "" ? "" : `${text[0]?.toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
}

/**
 * The page of this site that somebody was on the way to; the way in, where that is none or leads elsewhere.
 * @param {string} query  of the page's address
 * @param {string} origin
 */
export function onward(query, origin) {
  const next = new URLSearchParams(query).get("next") ?? "/";
  try {
    const url = new URL(next, origin);
    return url.origin === origin && next.startsWith("/") && url.pathname !== "/sign-in" ? url.pathname : "/";
  } catch {
    return "/";
  }
}
