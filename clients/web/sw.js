/*
 * Keeps the kit on the device, so that a panel starts while the service is away, and then says that it is waiting.
 *
 * The service puts DIGEST (of all files of the kit) and FILES (their paths) before this text and serves it at /sw.js.
 * Another kit is another script, which the browser finds by itself: it takes the old one's place at once. The service
 * is always asked first, so that page and service fit; what is kept is only used when it does not answer. Nothing of
 * the API is ever kept: what a room is cannot be remembered.
 */
/* global DIGEST, FILES */
const KIT = `roomlink-kit-${DIGEST}`;
/* A network that swallows everything is one that does not answer. */
const ANSWER_MS_MAX = 2500;

self.addEventListener("install", (event) => {
  event.waitUntil(install().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOthers().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin || !isKept(url.pathname)) return;
  event.respondWith(answer(request, url.pathname));
});

/* The kit as a whole; of the pages those that whoever is here may have. */
async function install() {
  const kit = await caches.open(KIT);
  const fresh = (path) => new Request(path, { cache: "reload" });
  const pages = FILES.filter((path) => !path.startsWith("/web/"));
  await kit.addAll(FILES.filter((path) => path.startsWith("/web/")).map(fresh));
  await Promise.all(pages.map(async (path) => keep(kit, path, await fetch(fresh(path)))));
}

/* What leads to the sign-in is not the page. */
async function keep(kit, path, found) {
  if (found.ok && !found.redirected) await kit.put(path, found.clone());
}

/* The kit, its pages, the panels, and the pages and files that a venue has of its own. */
function isKept(path) {
  return FILES.includes(path) || path.startsWith("/panel/") || path.startsWith("/panels/");
}

async function answer(request, path) {
  const kit = await caches.open(KIT);
  try {
    const found = await fetch(request, { signal: AbortSignal.timeout(ANSWER_MS_MAX) });
    await keep(kit, path, found);
    return found;
  } catch (error) {
    /* A panel that was never opened here is still a composed one. */
    const kept = (await kit.match(path)) ?? (path.startsWith("/panel/") ? await kit.match("/web/panel.html") : undefined);
    if (kept) return kept;
    throw error;
  }
}

async function dropOthers() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("roomlink-kit-") && name !== KIT).map((name) => caches.delete(name)));
}
