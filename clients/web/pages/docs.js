/** The API page, from the service's own description of itself. */
import { make, setAll } from "../elements/dom.js";
import { fields, operations, typeWords } from "../src/openapi.js";
import { capitalised } from "../src/format.js";
import { byId } from "./byid.js";

/** @typedef {import("../src/openapi.js").Operation} Operation */
/** @typedef {import("../src/openapi.js").Field} Field */

const article = byId("docs");
const contents = byId("contents");

// On a narrow screen the long list would come before what it leads to.
const wide = matchMedia("(min-width: 1000px)");
const fold = () => setAll(byId("fold"), { open: wide.matches });
wide.addEventListener("change", fold);
contents.addEventListener("click", () => window.setTimeout(fold));
fold();

try {
  const answer = await fetch("/openapi.json", { headers: { accept: "application/json" } });
  if (!answer.ok) throw new Error(`The service answered ${answer.status} ${answer.statusText}.`);
  render(await answer.json());
} catch (error) {
  article.replaceChildren(make("p", { class: "trouble", role: "alert" }, `The description cannot be shown. ${String(/** @type {Error} */ (error).message)}`));
}

/** @param {Record<string, any>} document_ */
function render(document_) {
  const title = String(document_.info?.title ?? "API");
  document.title = title;
  const all = operations(document_);
  const tags = [...new Set(all.map((each) => each.tag))];
  const schemas = /** @type {Record<string, any>} */ (document_.components?.schemas ?? {});
  contents.replaceChildren(
    ...tags.flatMap((tag) => [
      ...(tag ? [make("h4", {}, capitalised(tag))] : []),
      list(all.filter((each) => each.tag === tag).map((each) => link(each.id, `${each.method} ${each.path}`))),
    ]),
    make("h4", {}, "Schemas"),
    list(Object.keys(schemas).map((name) => link(`schema-${name}`, name))),
  );
  article.replaceChildren(
    make("h1", {}, title),
    ...paragraphs(String(document_.info?.description ?? "")),
    make("p", {}, `Version ${String(document_.info?.version ?? "not stated")}.`),
    ...tags.flatMap((tag) => [
      make("h2", {}, tag ? capitalised(tag) : "Operations"),
      ...all.filter((each) => each.tag === tag).map((each) => operationNode(each)),
    ]),
    make("h2", {}, "Schemas"),
    ...Object.entries(schemas).map(([name, schema]) => schemaNode(document_, name, schema)),
  );
  // The anchors are here only now.
  if (location.hash) document.getElementById(location.hash.slice(1))?.scrollIntoView();
}

/** @param {Operation} operation */
function operationNode(operation) {
  return make(
    "section",
    { class: "operation" },
    make("h3", { id: operation.id }, make("span", { class: "method" }, operation.method), make("code", {}, operation.path)),
    ...paragraphs(operation.summary),
    ...paragraphs(operation.description),
    ...(operation.parameters.length ? [make("h4", {}, "Parameters"), fieldTable(operation.parameters)] : []),
    ...operation.requests.flatMap((body) => [
      make("h4", {}, `Body, ${body.heading}`),
      ...paragraphs(body.description),
      make("p", {}, ...typed(body.type)),
      ...(body.example ? [make("pre", {}, body.example)] : []),
    ]),
    make("h4", {}, "Answers"),
    table(["Status", "Meaning", "Body"], operation.responses.map((each) => [each.status, each.description, typed(each.type)])),
  );
}

/**
 * @param {Record<string, any>} document_
 * @param {string} name
 * @param {Record<string, any>} schema
 */
function schemaNode(document_, name, schema) {
  const members = fields(document_, schema);
  return make(
    "section",
    { class: "operation" },
    make("h3", { id: `schema-${name}` }, name),
    ...paragraphs(String(schema.description ?? "")),
    members.length ? fieldTable(members) : make("p", {}, ...typed(typeWords(document_, schema))),
  );
}

/** @param {Field[]} rows */
function fieldTable(rows) {
  return table(
    ["Name", "Type", "Meaning"],
    rows.map((row) => [make("code", {}, row.name), typed(row.type), [row.where, row.required ? "required" : "", row.description].filter(Boolean).join(". ")]),
  );
}

/**
 * A type in words, where the names of schemas lead to them.
 * @param {string} type
 * @returns {(Node | string)[]}
 */
function typed(type) {
  return type.split(/(\b[A-Z]\w+\b)/).map((part, i) => (i % 2 ? link(`schema-${part}`, part) : part));
}

/**
 * @param {string[]} heads
 * @param {(string | Node | (string | Node)[])[][]} rows
 */
function table(heads, rows) {
  return make(
    "div",
    { class: "scroll" },
    make(
      "table",
      {},
      make("thead", {}, make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head)))),
      make("tbody", {}, ...rows.map((row) => make("tr", {}, ...row.map((cell) => make("td", {}, ...[cell].flat()))))),
    ),
  );
}

/** @param {string} text */
function paragraphs(text) {
  const parts = text.split(/\n\s*\n/).filter((part) => part.trim());
  // Of all that may stand in a description, only code is marked up.
  return parts.map((part) => make("p", {}, ...part.trim().split("`").map((run, i) => (i % 2 ? make("code", {}, run) : run))));
}

/**
 * @param {string} id
 * @param {string} text
 */
function link(id, text) {
  return make("a", { href: `#${id}` }, text);
}

/** @param {Node[]} items */
function list(items) {
  return make("ul", {}, ...items.map((item) => make("li", {}, item)));
}
