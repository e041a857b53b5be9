// Making elements without markup in strings.
const SVG = "http://www.w3.org/2000/svg";

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export const make = (name, attributes = {}, ...children) => filled(document.createElement(name), attributes, children);
export const draw = (name, attributes = {}, ...children) => filled(document.createElementNS(SVG, name), attributes, children);
export const icon = (id) => draw("svg", { "aria-hidden": "true" }, draw("use", { href: `#${id}` }));

// A drawing from the server, as an element; parsed as XML, so nothing in it can run.
export function drawing(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  return document.importNode(parsed, true);
}
