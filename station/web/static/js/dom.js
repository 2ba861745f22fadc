// Small helpers to build the page. Text goes in as text only: nothing a player
// types is ever read as markup.

const SVG = "http://www.w3.org/2000/svg";

/** An element with properties, attributes (keys with a dash, or role) and children. */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null) continue;
    if (key.includes("-") || key === "role" || key === "for") node.setAttribute(key, value);
    else node[key] = value;
  }
  node.append(...children);
  return node;
}

/** An SVG element with attributes and children. */
export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

/** Set text only when it differs, so that nothing is announced or laid out twice. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Set a data attribute, or remove it when the value is null. */
export function mark(node, key, value) {
  if (value === null || value === undefined) delete node.dataset[key];
  else if (node.dataset[key] !== String(value)) node.dataset[key] = value;
}
