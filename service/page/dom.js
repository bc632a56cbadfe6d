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

export const store = {
  get(key, otherwise = null) {
    try {
      return JSON.parse(localStorage.getItem(key)) ?? otherwise;
    } catch {
      return otherwise;
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

// A small form in a dialog. `fields`: [{name, label, value, type, options, required}]. `act(values)` may throw to stay open.
export function ask(title, fields, act) {
  const dialog = $("dialog");
  const form = dialog.querySelector("form");
  $("dialog-title").textContent = title;
  $("dialog-trouble").textContent = "";
  $("dialog-fields").replaceChildren(
    ...fields.map((f) => {
      if (f.type === "checkbox") return el("label", { class: "check" }, el("input", { type: "checkbox", name: f.name }), f.label);
      const input = f.options
        ? el("select", { name: f.name }, f.options.map(([value, text]) => el("option", { value, selected: value === f.value }, text)))
        : el("input", { name: f.name, value: f.value ?? "", required: f.required, maxlength: f.max || 200, inputmode: f.mode, autocomplete: "off" });
      return el("label", {}, f.label, input);
    }),
  );
  form.onsubmit = async (event) => {
    event.preventDefault();
    const values = Object.fromEntries(new FormData(form));
    try {
      await act(values);
      dialog.close();
    } catch (trouble) {
      $("dialog-trouble").textContent = trouble.message;
    }
  };
  $("dialog-cancel").onclick = () => dialog.close();
  dialog.showModal();
}
