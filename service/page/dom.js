// Building elements without ever parsing text as markup.
const SVG = "http://www.w3.org/2000/svg";

export const $ = (id) => document.getElementById(id);

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

export const el = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);
export const svg = (tag, attributes, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

// The choices of a list, [value, text] each. Left alone if they are the same: somebody may just be choosing.
export function options(select, choices, value) {
  const same = choices.length === select.options.length && choices.every(([v, text], n) => select.options[n].value === String(v) && select.options[n].text === text);
  if (!same) select.replaceChildren(...choices.map(([v, text]) => el("option", { value: v }, text)));
  if (select.value !== String(value ?? "")) select.value = value ?? "";
}

export const store = {
  get(key, otherwise = null) {
    try {
      return JSON.parse(localStorage.getItem(key)) ?? otherwise;
    } catch {
      return otherwise;
    }
  },
  keys() {
    try {
      return Object.keys(localStorage);
    } catch {
      return [];
    }
  },
  set(key, value) {
    try {
      localStorage.setItem(key, JSON.stringify(value));
    } catch {
      // full or forbidden: only a convenience is lost
    }
  },
};
