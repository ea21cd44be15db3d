/** Building DOM without markup strings: a strict content security policy allows neither inline styles nor scripts. */

const SVG = "http://www.w3.org/2000/svg";

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | boolean | null>} [attributes]  true gives an empty one; false and null none
 * @param {...(Node | string)} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  setAll(element, attributes);
  element.append(...children);
  return element;
}

/**
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | boolean | null>} [attributes]
 * @param {...Node} children
 * @returns {SVGElementTagNameMap[K]}
 */
export function makeSvg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  setAll(element, attributes);
  element.append(...children);
  return element;
}

/**
 * @param {Element} element
 * @param {Record<string, string | boolean | null>} attributes
 */
export function setAll(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    const text = value === true ? "" : value === false ? null : value;
    if (text === null) element.removeAttribute(name);
    // Writing an attribute that is the same already would still wake observers and screen readers.
    else if (element.getAttribute(name) !== text) element.setAttribute(name, text);
  }
}

/**
 * @param {Node} node
 * @param {string} text
 */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/**
 * Defines an element once; a page may load the kit twice.
 * @param {string} name
 * @param {CustomElementConstructor} constructor
 */
export function define(name, constructor) {
  if (!customElements.get(name)) customElements.define(name, constructor);
}

/** @param {string} css */
export function sheetOf(css) {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(css);
  return sheet;
}
