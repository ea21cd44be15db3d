/**
 * Reads an OpenAPI document into what a page can show, following local references and saying types in words.
 *
 * @typedef {Record<string, any>} Json
 * @typedef {{name: string, where: string, required: boolean, type: string, description: string}} Field
 * @typedef {{heading: string, description: string, type: string, example: string}} Body
 * @typedef {object} Operation
 * @property {string} id          for the page's own anchors
 * @property {string} method
 * @property {string} path
 * @property {string} summary
 * @property {string} description
 * @property {string} tag
 * @property {Field[]} parameters
 * @property {Body[]} requests
 * @property {{status: string, description: string, type: string}[]} responses
 */

const METHODS = ["get", "put", "post", "patch", "delete"];

/**
 * Follows `$ref`s within the document; what dangles is an empty object.
 * @param {Json} document
 * @param {Json | undefined} node
 * @returns {Json}
 */
export function resolved(document, node) {
  let at = node;
  // A reference to a reference is legal; one to itself is not, and must not hang the page.
  for (let hops = 0; at && typeof at.$ref === "string" && hops < 20; hops++) {
    at = at.$ref.slice(2).split("/").reduce((/** @type {any} */ inner, /** @type {string} */ key) => inner?.[unescaped(key)], document);
  }
  return at && typeof at === "object" ? at : {};
}

/** @param {string} key */
function unescaped(key) {
  return decodeURIComponent(key).replaceAll("~1", "/").replaceAll("~0", "~");
}

/**
 * A schema in a few words: `Zone`, `list of number`, `"open" or "closed"`, `string (date-time) or null`.
 * @param {Json} document
 * @param {Json | undefined} schema
 * @returns {string}
 */
export function typeWords(document, schema) {
  if (schema === undefined) return "anything";
  if (typeof schema.$ref === "string") return unescaped(schema.$ref.slice(schema.$ref.lastIndexOf("/") + 1));
  const several = schema.anyOf ?? schema.oneOf;
  if (Array.isArray(several)) return [...new Set(several.map((each) => typeWords(document, each)))].join(" or ");
  if (Array.isArray(schema.allOf)) return schema.allOf.map((each) => typeWords(document, each)).join(" and ");
  if (Array.isArray(schema.enum)) return schema.enum.map((value) => JSON.stringify(value)).join(" or ");
  if ("const" in schema) return JSON.stringify(schema.const);
  if (Array.isArray(schema.type)) return schema.type.map((type) => typeWords(document, { ...schema, type })).join(" or ");
  if (schema.type === "array") return Array.isArray(schema.prefixItems) ? `[${schema.prefixItems.map((each) => typeWords(document, each)).join(", ")}]` : `list of ${typeWords(document, schema.items)}`;
  if (schema.type === "object" && !schema.properties && typeof schema.additionalProperties === "object") {
    return `object of ${typeWords(document, schema.additionalProperties)} by name`;
  }
  return [schema.type ?? (schema.properties ? "object" : "anything"), bounds(schema)].filter(Boolean).join(" ");
}

/** @param {Json} schema */
function bounds(schema) {
  const parts = [
    schema.format,
    schema.minimum !== undefined ? `\u2265 ${schema.minimum}` : "",
    schema.exclusiveMinimum !== undefined ? `> ${schema.exclusiveMinimum}` : "",
    schema.maximum !== undefined ? `\u2264 ${schema.maximum}` : "",
    schema.exclusiveMaximum !== undefined ? `< ${schema.exclusiveMaximum}` : "",
    schema.maxLength !== undefined ? `at most ${schema.maxLength} characters` : "",
    schema.pattern !== undefined ? `like ${schema.pattern}` : "",
  ].filter(Boolean);
  return parts.length ? `(${parts.join(", ")})` : "";
}

/**
 * The properties of an object schema, its `allOf` parts included.
 * @param {Json} document
 * @param {Json | undefined} schema
 * @returns {Field[]}
 */
export function fields(document, schema) {
  const object = resolved(document, schema);
  const inherited = (object.allOf ?? []).flatMap((/** @type {Json} */ part) => fields(document, part));
  const own = Object.entries(/** @type {Record<string, Json>} */ (object.properties ?? {})).map(([name, property]) => ({
    name,
    where: "",
    required: (object.required ?? []).includes(name),
    type: typeWords(document, property),
    description: [property.description ?? "", property.default !== undefined ? `Without it: ${JSON.stringify(property.default)}.` : ""].filter(Boolean).join(" "),
  }));
  return [...inherited, ...own];
}

/**
 * Every operation, in the document's order.
 * @param {Json} document
 * @returns {Operation[]}
 */
export function operations(document) {
  return Object.entries(/** @type {Record<string, Json>} */ (document.paths ?? {})).flatMap(([path, item]) =>
    METHODS.filter((method) => item[method]).map((method) => operation(document, path, method, item)),
  );
}

/**
 * @param {Json} document
 * @param {string} path
 * @param {string} method
 * @param {Json} item
 * @returns {Operation}
 */
function operation(document, path, method, item) {
  const at = item[method];
  const parameters = [...(item.parameters ?? []), ...(at.parameters ?? [])].map((raw) => {
    const parameter = resolved(document, raw);
    return {
      name: String(parameter.name ?? ""),
      where: String(parameter.in ?? ""),
      required: !!parameter.required,
      type: typeWords(document, parameter.schema),
      description: String(parameter.description ?? ""),
    };
  });
  const body = resolved(document, at.requestBody);
  const requests = Object.entries(/** @type {Record<string, Json>} */ (body.content ?? {})).map(([heading, media]) => ({
    heading,
    description: String(body.description ?? ""),
    type: typeWords(document, media.schema),
    example: exampleOf(document, media),
  }));
  const responses = Object.entries(/** @type {Record<string, Json>} */ (at.responses ?? {})).map(([status, raw]) => {
    const response = resolved(document, raw);
    const types = Object.values(/** @type {Record<string, Json>} */ (response.content ?? {})).map((media) => typeWords(document, media.schema));
    return { status, description: String(response.description ?? ""), type: [...new Set(types)].join(" or ") };
  });
  return {
    id: `${method}${path.replace(/[^A-Za-z0-9]+/g, "-")}`,
    method: method.toUpperCase(),
    path,
    summary: String(at.summary ?? ""),
    description: String(at.description ?? ""),
    tag: String(at.tags?.[0] ?? ""),
    parameters,
    requests,
    responses,
  };
}

/**
 * @param {Json} document
 * @param {Json} media
 */
function exampleOf(document, media) {
  const named = Object.values(/** @type {Record<string, Json>} */ (media.examples ?? {})).map((each) => resolved(document, each).value);
  const schema = resolved(document, media.schema);
  const example = media.example ?? named[0] ?? schema.example ?? schema.examples?.[0];
  return example === undefined ? "" : JSON.stringify(example, null, 2);
}
