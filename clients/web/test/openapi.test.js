import assert from "node:assert/strict";
import { test } from "node:test";
import { fields, operations, resolved, typeWords } from "../src/openapi.js";

const DOCUMENT = {
  paths: {
    "/zones/{zone}": {
      parameters: [{ $ref: "#/components/parameters/Zone" }],
      get: { summary: "One zone", tags: ["zones"], responses: { 200: { description: "The zone", content: { "application/json": { schema: { $ref: "#/components/schemas/Zone" } } } } } },
      put: { requestBody: { content: { "application/json": { schema: { $ref: "#/components/schemas/Zone" }, example: { name: "Heron" } } } }, responses: {} },
    },
  },
  components: {
    parameters: { Zone: { name: "zone", in: "path", required: true, schema: { type: "string", pattern: "^[a-z]" } } },
    schemas: { Zone: { type: "object", required: ["name"], properties: { name: { type: "string" }, over: { type: "number", minimum: 0, default: 0, description: "Seconds." } } } },
    loop: { $ref: "#/components/loop" },
  },
};

test("an operation shows its path's parameters, its body and its answers", () => {
  const [get, put] = operations(DOCUMENT);
  assert.equal(get?.method, "GET");
  assert.deepEqual(get?.parameters, [{ name: "zone", where: "path", required: true, type: "string (like ^[a-z])", description: "" }]);
  assert.deepEqual(get?.responses, [{ status: "200", description: "The zone", type: "Zone" }]);
  assert.equal(put?.requests[0]?.example, '{\n  "name": "Heron"\n}');
});

test("types are said in words", () => {
  assert.equal(typeWords(DOCUMENT, { type: "array", items: { $ref: "#/components/schemas/Zone" } }), "list of Zone");
  assert.equal(typeWords(DOCUMENT, { enum: ["open", "closed"] }), '"open" or "closed"');
  assert.equal(typeWords(DOCUMENT, { anyOf: [{ type: "number", minimum: 0 }, { type: "null" }] }), "number (\u2265 0) or null");
  assert.equal(typeWords(DOCUMENT, { type: "object", additionalProperties: { type: "string" } }), "object of string by name");
});

test("the members of a schema say what is required and what is taken without them", () => {
  assert.deepEqual(fields(DOCUMENT, { $ref: "#/components/schemas/Zone" }).map((f) => [f.name, f.required, f.description]), [
    ["name", true, ""],
    ["over", false, "Seconds. Without it: 0."],
  ]);
});

test("a reference that dangles or runs in a circle yields nothing and ends", () => {
  assert.deepEqual(resolved(DOCUMENT, { $ref: "#/components/schemas/Nothing" }), {});
  assert.equal(typeof resolved(DOCUMENT, { $ref: "#/components/loop" }), "object");
});
