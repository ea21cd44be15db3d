import assert from "node:assert/strict";
import { test } from "node:test";
import { onward, request, sentence } from "../src/entry.js";

const ORIGIN = "http://hall.example";

test("one goes on to where one wanted to go, on this site alone", () => {
  assert.equal(onward("?next=%2Fplan", ORIGIN), "/plan");
  assert.equal(onward("", ORIGIN), "/");
  for (const next of ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", "javascript:alert(1)", "plan", "/sign-in"]) {
    assert.equal(onward(`?next=${encodeURIComponent(next)}`, ORIGIN), "/", next);
  }
});

test("a refusal is told in the service's words", async () => {
  const refused = async () => new Response(JSON.stringify({ detail: "name or password is not right" }), { status: 403 });
  await assert.rejects(request(refused, "POST", "session", {}), /^Error: Name or password is not right\.$/);
  const odd = async () => new Response("", { status: 502 });
  await assert.rejects(request(odd, "GET", "session"), /The service answered 502\./);
  const away = async () => Promise.reject(new TypeError("failed"));
  await assert.rejects(request(away, "GET", "session"), /cannot be reached/);
});

test("what is sent is JSON, and what comes back is read", async () => {
  /** @type {any[]} */
  const asked = [];
  const there = async (/** @type {any} */ url, /** @type {any} */ how) => {
    asked.push([url, how.method, how.body]);
    return new Response('{"seq": 3}', { status: 200 });
  };
  assert.deepEqual(await request(/** @type {any} */ (there), "PUT", "people/kim", { role: "view" }), { seq: 3 });
  assert.deepEqual(asked, [["/api/v1/people/kim", "PUT", '{"role":"view"}']]);
});

test("words become a sentence once", () => {
  assert.equal(sentence("signed out"), "Signed out.");
  assert.equal(sentence("Already one."), "Already one.");
  assert.equal(sentence(""), "");
});
