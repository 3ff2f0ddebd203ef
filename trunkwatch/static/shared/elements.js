// Elements of a page, made from their attributes and children. Text never becomes HTML.

/**
 * @param {string} tag
 * @param {Record<string, any>} attributes  `on` hears clicks; true stands without a value; false, null and undefined do not stand
 * @param {...(Node | string | null | undefined)} children  null and undefined are left out
 * @returns {any}  the element, whichever kind it is
 */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") made.addEventListener("click", value);
    else if (value !== false && value !== undefined && value !== null) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/**
 * @param {string} text
 * @param {(event: any) => void} on
 * @param {Record<string, any>} attributes
 * @returns {any}
 */
export const button = (text, on, attributes = {}) => el("button", { type: "button", on, ...attributes }, text);

/**
 * @param {string} tag
 * @param {Record<string, string | number>} attributes
 * @param {...(Node | string)} children
 * @returns {SVGElement}
 */
export function svgEl(tag, attributes = {}, ...children) {
  const made = /** @type {SVGElement} */ (document.createElementNS("http://www.w3.org/2000/svg", tag));
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  made.append(...children);
  return made;
}
