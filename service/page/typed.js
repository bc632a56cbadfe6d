// What was typed or chosen in a form survives a reload: kept by this tab, and for the next one that is opened.

export const mine = {
  get(key, otherwise = null) {
    try {
      return JSON.parse(sessionStorage.getItem(key) ?? localStorage.getItem(key)) ?? otherwise;
    } catch {
      return otherwise;
    }
  },
  set(key, value) {
    for (const place of ["sessionStorage", "localStorage"])
      try {
        window[place].setItem(key, JSON.stringify(value));
      } catch {
        // full or forbidden: only a convenience is lost
      }
  },
};

const nameOf = (field) => field.id || field.name;

// Fills the fields of `form` as they were under this key, and keeps them from now on. Gives back what keeps them at once
// (after a change by the page itself) and what forgets them. `but`: names of fields that are kept elsewhere.
export function keepTyped(form, key, but = []) {
  const fields = () => [...form.elements].filter((f) => nameOf(f) && ["INPUT", "SELECT", "TEXTAREA"].includes(f.tagName) && f.type !== "file" && !but.includes(nameOf(f)));
  const known = mine.get(key, {});
  for (const field of fields()) {
    if (field.type === "radio") field.checked = (known[field.name] ?? (field.checked ? field.value : null)) === field.value;
    else if (known[nameOf(field)] === undefined) continue;
    else if (field.type === "checkbox") field.checked = known[nameOf(field)];
    else if (field.tagName !== "SELECT" || [...field.options].some((o) => o.value === known[nameOf(field)])) field.value = known[nameOf(field)];
  }
  const keep = () => {
    const now = {};
    for (const field of fields()) {
      if (field.type === "radio") {
        if (field.checked) now[field.name] = field.value;
      } else now[nameOf(field)] = field.type === "checkbox" ? field.checked : field.value;
    }
    mine.set(key, now);
  };
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
  return {
    keep,
    forget() {
      form.removeEventListener("input", keep);
      form.removeEventListener("change", keep);
      mine.set(key, null);
    },
  };
}
