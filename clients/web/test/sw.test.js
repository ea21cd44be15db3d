import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const SCRIPT = readFileSync(new URL("../sw.js", import.meta.url), "utf8");

/** A browser's side of a service worker, with a network that can be away. */
function worker() {
  /** @type {Map<string, Map<string, string>>} */
  const stores = new Map([["roomlink-kit-old", new Map([["/plan", "old plan"]])], ["elsewhere", new Map()]]);
  /** @type {Record<string, (event: any) => void>} */
  const listeners = {};
  const network = { there: true, asked: /** @type {string[]} */ ([]), refused: /** @type {string[]} */ ([]) };
  const pathOf = (/** @type {any} */ request) => new URL(typeof request === "string" ? request : request.url, "http://hall").pathname;
  const fetch = async (/** @type {any} */ request) => {
    network.asked.push(pathOf(request));
    if (!network.there) throw new TypeError("away");
    if (network.refused.includes(pathOf(request))) return { ok: true, redirected: true, body: "sign in", clone() { return this; } };
    return { ok: true, redirected: false, body: `net ${pathOf(request)}`, clone() { return this; } };
  };
  const open = async (/** @type {string} */ name) => {
    const store = stores.get(name) ?? new Map();
    stores.set(name, store);
    return {
      addAll: async (/** @type {any[]} */ requests) => { for (const each of requests) store.set(pathOf(each), (await fetch(each)).body); },
      put: async (/** @type {any} */ key, /** @type {any} */ answer) => void store.set(pathOf(key), answer.body),
      match: async (/** @type {any} */ key) => (store.has(pathOf(key)) ? { ok: true, body: store.get(pathOf(key)) } : undefined),
    };
  };
  const self = {
    addEventListener: (/** @type {string} */ name, /** @type {(event: any) => void} */ run) => void (listeners[name] = run),
    skipWaiting: () => {},
    clients: { claim: () => {} },
  };
  const caches = { open, keys: async () => [...stores.keys()], delete: async (/** @type {string} */ name) => stores.delete(name) };
  class Request {
    /** @param {string} path */
    constructor(path) { this.url = `http://hall${path}`; }
  }
  const globals = { self, caches, fetch, Request, URL, AbortSignal, location: { origin: "http://hall" } };
  vm.runInNewContext(`const DIGEST = "new"; const FILES = ["/", "/plan", "/web/panel.html", "/web/roomlink.js"];\n${SCRIPT}`, globals);
  const waited = async (/** @type {string} */ name) => {
    /** @type {Promise<unknown> | undefined} */
    let work;
    listeners[name]?.({ waitUntil: (/** @type {Promise<unknown>} */ promise) => void (work = promise) });
    await work;
  };
  const get = async (/** @type {string} */ url, method = "GET") => {
    /** @type {Promise<any> | undefined} */
    let answer;
    listeners.fetch?.({ request: { url: new URL(url, "http://hall").href, method }, respondWith: (/** @type {Promise<any>} */ promise) => void (answer = promise) });
    return answer === undefined ? undefined : (await answer).body;
  };
  return { stores, network, waited, get };
}

test("the kit is fetched at once, and an older one is dropped", async () => {
  const { stores, waited } = worker();
  await waited("install");
  await waited("activate");
  assert.deepEqual([...stores.keys()], ["elsewhere", "roomlink-kit-new"]);
  assert.equal(stores.get("roomlink-kit-new")?.get("/plan"), "net /plan");
});

test("the service is asked first, and what is kept serves only while it is away", async () => {
  const { network, waited, get } = worker();
  await waited("install");
  assert.equal(await get("/plan"), "net /plan");
  network.there = false;
  assert.equal(await get("/plan"), "net /plan");
  assert.equal(await get("/web/roomlink.js?x=1"), "net /web/roomlink.js");
});

test("a panel that was never opened here starts as a composed one, and a venue's own page as it was", async () => {
  const { network, waited, get } = worker();
  await waited("install");
  assert.equal(await get("/panel/heron-wall"), "net /panel/heron-wall");
  network.there = false;
  assert.equal(await get("/panel/heron-wall"), "net /panel/heron-wall");
  assert.equal(await get("/panel/tern-wall"), "net /web/panel.html");
  await assert.rejects(get("/panels/never-seen.css"));
});

test("the API, writes, other sites and what is not of the kit pass by untouched", async () => {
  const { get } = worker();
  for (const path of ["/api/v1/state", "/api/v1/venue", "/healthz", "/openapi.json", "http://elsewhere/plan"]) assert.equal(await get(path), undefined);
  assert.equal(await get("/plan", "POST"), undefined);
});

test("a page that leads to the sign-in is not kept in its place", async () => {
  const { stores, network, waited, get } = worker();
  network.refused.push("/plan");
  await waited("install");
  const kit = stores.get("roomlink-kit-new");
  assert.deepEqual([...(kit?.keys() ?? [])].sort(), ["/", "/web/panel.html", "/web/roomlink.js"]);
  assert.equal(await get("/plan"), "sign in");
  assert.equal(kit?.has("/plan"), false);
});
